"""A plan read back: the case embedded in its PDF, and what the plan was made with. Nothing of it is trusted."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from planner import strict_yaml
from planner.case_file import EMBEDDED_NAME
from planner.errors import PlannerError
from planner.exchange.json_cases import parse

LARGEST_PDF = 20_000_000
LARGEST_RECORD = 1_000_000
LONGEST_WORDS = 200
# Where readers look for the mark that ends a PDF: its last 1,024 bytes.
TAIL = 1024
OTHERWISE = "the case file itself, or the plan as `planner plan` wrote it"


@dataclass(frozen=True)
class Embedded:
    """What a plan holds of its making. `text` is the whole attachment; `case` is plain data, still to be typed.

    `rulebook` has id, version, sha256, status; `on` is YYYY-MM-DD, None for a case without a date.
    """

    text: str
    case: dict[str, Any]
    rulebook: dict[str, str]
    on: str | None
    unit: str | None
    stage: str
    planner: str


def read_plan(path: Path) -> Embedded:
    """Read what is embedded in a plan's PDF. Raises PlannerError for anything that is no such plan."""
    name = str(path)
    content = strict_yaml.read_bytes(path, LARGEST_PDF)
    if not content.lstrip()[:5] == b"%PDF-":
        raise PlannerError.one("is not a PDF", name, hint="the PDF that `planner plan` wrote")
    if b"%%EOF" not in content[-TAIL:]:
        raise PlannerError.one("is cut off", name, "a PDF ends with %%EOF, and this one does not", "copy it again")
    attachment = _attachment(content, name)
    try:
        return _checked(attachment, f"{name}, {EMBEDDED_NAME}")
    except PlannerError as error:
        # What there is to try is never to mend the attachment by hand.
        raise PlannerError([replace(fault, hint=OTHERWISE) for fault in error.faults]) from None


def _attachment(content: bytes, name: str) -> bytes:
    """The bytes of the one embedded case file."""
    from pypdf import PdfReader

    try:
        with _unheard():
            reader = PdfReader(io.BytesIO(content))
            encrypted = reader.is_encrypted
            attachments = [] if encrypted else [file for file in reader.attachment_list if file.name == EMBEDDED_NAME]
            made = attachments[0].content if len(attachments) == 1 else b""
    except Exception as error:
        # What a library meets in a broken PDF may be an error of any kind; whatever it is, the file is the cause.
        why = f"{type(error).__name__}: {error}"[:LONGEST_WORDS]
        raise PlannerError.one("cannot be read as a PDF", name, " ".join(why.split()), OTHERWISE) from None
    if encrypted:
        raise PlannerError.one("is encrypted", name, "what it holds cannot be read", "a copy saved without a password")
    if not attachments:
        why = f"no {EMBEDDED_NAME} is embedded in it: not a plan, or saved again by a program that drops attachments"
        raise PlannerError.one("holds no case", name, why, OTHERWISE)
    if len(attachments) > 1:
        what = f"holds {len(attachments)} cases"
        raise PlannerError.one(what, name, "several plans were put together in it", "each plan's own file")
    return made


def _checked(content: bytes, where: str) -> Embedded:
    """The attachment as what it should be. Raises PlannerError."""
    if len(content) > LARGEST_RECORD:
        raise PlannerError.one(f"is larger than {LARGEST_RECORD:,} bytes", where, "no case is that large")
    text = strict_yaml.decode(content, where)
    if not all(letter.isprintable() or letter == "\n" for letter in text):
        raise PlannerError.one("holds characters that do not print", where)
    data = parse(text, where)
    if not isinstance(data, dict):
        raise PlannerError.one("is not what a plan holds", where, "it should be one JSON object")
    rulebook = data.get("rulebook")
    book = rulebook if isinstance(rulebook, dict) else {}
    words = {
        **{key: (data.get(key), True) for key in ("on", "unit")},
        **{key: (data.get(key), False) for key in ("stage", "planner")},
        **{f"rulebook.{key}": (book.get(key), False) for key in ("id", "version", "sha256", "status")},
    }
    wrong = [key for key, (value, may_lack) in words.items() if not (_one_line(value) or (may_lack and value is None))]
    case = data.get("case")
    if wrong or not isinstance(case, dict):
        keys = wrong if isinstance(case, dict) else ["case", *wrong]
        why = f"lacking, or not as it should be: {', '.join(keys)}"
        raise PlannerError.one("is not what a plan holds", where, why)
    return Embedded(text, case, book, data["on"], data["unit"], data["stage"], data["planner"])


def _one_line(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= LONGEST_WORDS and value.isprintable()


@contextmanager
def _unheard() -> Iterator[None]:
    """What pypdf warns of while it mends a file is nothing the reader could act on."""
    logger = logging.getLogger("pypdf")
    level = logger.level
    logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        logger.setLevel(level)
