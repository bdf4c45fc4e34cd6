"""References, not names: what looks like a person's name, a date of birth or a health-service number is refused.

The store is no record of care. Who the patient is stands in the unit's own records, under the reference.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from planner.errors import Fault

_SPACED_DIGITS = re.compile(r"(?<![\w.-])\d(?:[ -]?\d){9}(?![\w-]|\.\d)")
_SLASHED_DATE = re.compile(r"(?<!\d)\d{1,2}\s?[/.]\s?\d{1,2}\s?[/.]\s?(?:\d{4}|\d{2})(?!\d)")
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_WORDED_DATE = re.compile(
    rf"\b\d{{1,2}}(?:st|nd|rd|th)?[ -](?:{_MONTHS})[a-z]*[ -]\d{{4}}\b", re.IGNORECASE
)  # fmt: skip
_OLD_DATE = re.compile(r"(?<!\d)(?:18|19)\d\d-\d\d-\d\d(?!\d)")
_TITLED = re.compile(r"\b(?:Mr|Mrs|Ms|Miss|Mx|Dr|Prof|Sir|Dame|Lady|Lord)\.?\s+[A-Z]")
_NAME_WORD = r"(?:[A-Z]['’])?(?:Mc|Mac)?[A-Z][a-zà-ÿ]+(?:[-'’][A-Z][a-zà-ÿ]+)*"
_TWO_NAMES = re.compile(rf"(?<![\w'’])({_NAME_WORD}),? +(?:[A-Z]\.? +)?({_NAME_WORD})(?![\w-])")
_SHOUTED_NAMES = re.compile(r"(?<![\w-])[A-Z]{3,},\s*[A-Z][A-Za-z]+")
_INITIALS = re.compile(rf"(?<![\w.])(?:[A-Z]\. ?){{1,3}}{_NAME_WORD}")
# Capitals that begin a sentence or name a day. The months that are first names too are left out.
_NO_NAMES = frozenset(
    re.findall(
        r"\w+",
        "A After All An And Any As Ask At Be Before Both But By Can Check Do Does For From Had Has Have How I If In "
        "Is It Left List More My Needs No Not Now Of On Once One Only Or Our Please Plan Right See She He Since So "
        "Still Stop Take Than That The Their Then There These They This To Two Until Was We What When Where Which "
        "While Who Why With Would Yes You Your Theatre Monday Tuesday Wednesday Thursday Friday Saturday Sunday "
        "January February March July September October November December",
    )
)
_INITIAL_AND_NAME = re.compile(r"\b(?:[A-Z] [A-Z][a-z]+|[A-Z][a-z]+ [A-Z])\b")
_HAS_DIGIT = re.compile(r"\d")
_REFERENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/ -]*")
_HOSPITAL_NUMBER = re.compile(
    r"\b(?:mrn|hospital (?:no|number)|nhs (?:no|number)|unit no)\b\W*\w*\d{4,}", re.IGNORECASE
)


def reference_fault(text: str, where: str) -> Fault | None:
    """Why a text cannot be a case's reference or a patient's pseudonym, or None."""
    if not _REFERENCE.fullmatch(text):
        return Fault(
            where, f"{text[:40]!r} cannot be a reference", "letters, digits and - . _ / only", "one such as A-104"
        )
    if not _HAS_DIGIT.search(text):
        why = "without a digit it could be somebody's name"
        return Fault(where, f"{text[:40]!r} has no digit", why, "the unit's own reference, such as A-104")
    if _INITIAL_AND_NAME.search(text):
        why = "a capital and a word look like a person's name"
        return Fault(where, "what may be a person's name is no reference", why, "the unit's own, such as A-104")
    return free_text_fault(text, where, "the unit's own reference, such as A-104")


def free_text_fault(text: str, where: str, instead: str = "the case's reference, or a role code") -> Fault | None:
    """Why a free text cannot be kept, or None: it would say who the patient is, or holds characters none can read."""
    if not all(letter.isprintable() or letter in "\n\r\t" for letter in text):
        return Fault(where, "holds characters that cannot be printed", hint="type it again")
    if number := next((m[0] for m in _SPACED_DIGITS.finditer(text) if is_health_number(m[0])), None):
        hidden = re.sub(r"\d", "•", number[:-2]) + number[-2:]
        why = "ten digits whose last checks the others: it looks like a health-service number"
        return Fault(where, f"{hidden} is not kept here", why, instead)
    if _HOSPITAL_NUMBER.search(text):
        return Fault(where, "a hospital number is not kept here", "it says who the patient is", instead)
    for pattern in (_SLASHED_DATE, _WORDED_DATE, _OLD_DATE):
        if pattern.search(text):
            why = "it could be a date of birth"
            hint = "the age in years; the date of an examination as YYYY-MM-DD"
            return Fault(where, "a date written so is not kept here", why, hint)
    if _may_name_somebody(text):
        why = "capitals set so look like a person's name"
        return Fault(where, "what may be a person's name is not kept here", why, f"{instead}, or small letters")
    return None


def _may_name_somebody(text: str) -> bool:
    if any(pattern.search(text) for pattern in (_TITLED, _SHOUTED_NAMES, _INITIALS)):
        return True
    # From each capitalised word on, so that "Ask John Smith" is seen past "Ask John".
    pairs = (_TWO_NAMES.match(text, start.start()) for start in re.finditer(r"(?<![\w'’])[A-Z]", text))
    return any(pair and not {pair[1], pair[2]} & _NO_NAMES for pair in pairs)


def document_faults(document: Mapping[str, Any], where: str = "case") -> list[Fault]:
    """What in a case's document says who the patient is: its reference, its pseudonym, and every text in it."""
    faults = []
    for name in ("case", "patient"):
        if isinstance(value := document.get(name), str | int):
            faults.append(reference_fault(str(value), name))
    for name, value in document.items():
        if name not in ("case", "patient", "findings"):
            faults += [free_text_fault(text, name) for text in _texts(value)]
    findings = document.get("findings")
    for name, value in (findings if isinstance(findings, Mapping) else {}).items():
        faults += [free_text_fault(text, str(name)) for text in _texts(value)]
    return [fault for fault in faults if fault is not None]


def is_health_number(text: str) -> bool:
    """Whether ten digits carry the check digit of a national health number: weights 10 to 2, modulus 11."""
    digits = [int(letter) for letter in text if letter.isdigit()]
    if len(digits) != 10 or len(set(digits)) == 1:
        return False
    check = 11 - sum(digit * weight for digit, weight in zip(digits, range(10, 1, -1), strict=False)) % 11
    return check != 10 and check % 11 == digits[9]


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    return [text for item in value for text in _texts(item)] if isinstance(value, list | tuple) else []
