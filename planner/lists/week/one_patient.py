"""One pseudonym is one patient: what two cases say that cannot both be true of one, and one eye that stands twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from planner.case import Case
from planner.errors import Fault
from planner.wording.words import day_words, eye_words

YEAR = 365.25  # days
BIRTHDAY = 1.0  # years by which ages may differ beyond the time that lies between, written in whole years as they are


@dataclass(frozen=True)
class Contradiction:
    """Two cases under one pseudonym, and in a sentence what of them cannot be."""

    first: Case
    second: Case
    says: str

    @property
    def fault(self) -> Fault:
        why = "one pseudonym is one patient, who has two eyes"
        hint = "write one patient's pseudonym in one way, correct what is wrong, give one of the two cases its own "
        hint += "pseudonym, or keep one of two for the same eye"
        return Fault(f"{_eye(self.first)} and {_eye(self.second)}", self.says, why, hint)


def contradictions(cases: Iterable[Case]) -> list[Contradiction]:
    """Every two cases of one pseudonym that name one eye, two sexes, or ages further apart than their dates; and every
    pseudonym in other capitals, spaces or dashes than another: one patient would be taken for two."""
    of_patient: dict[str, list[Case]] = defaultdict(list)
    spelt: dict[str, list[Case]] = defaultdict(list)
    for case in cases:
        if case.patient is not None:
            of_patient[case.patient].append(case)
            spelt[_plain(case.patient)].append(case)
    respelt = [
        Contradiction(alike[0], other, f"{alike[0].patient!r} is {other.patient!r} in other letters")
        for alike in spelt.values()
        for other in {case.patient: case for case in alike[::-1]}.values()
        if other.patient != alike[0].patient
    ]
    return respelt + [
        Contradiction(first, second, f"{patient} {says}")
        for patient, own in of_patient.items()
        for first, second in combinations(own, 2)
        for says in _said(first, second)
    ]


def _plain(pseudonym: str) -> str:
    """A pseudonym as it is read aloud: letters and digits alone, whatever their capitals.

    >>> _plain("P-1") == _plain("p 1") == _plain("P\u20111")
    True
    """
    return "".join(letter for letter in pseudonym.casefold() if letter.isalnum())


def _eye(case: Case) -> str:
    return eye_words(case.reference, case.eye)


def _said(first: Case, second: Case) -> Iterator[str]:
    if first.eye == second.eye:
        yield f"has the {first.eye} eye in both {first.reference} and {second.reference}"
    sexes = first.in_force.get("sex"), second.in_force.get("sex")
    if None not in sexes and sexes[0] != sexes[1]:
        yield f"is {sexes[0]} in {first.reference} and {sexes[1]} in {second.reference}"
    ages = first.in_force.get("age_years"), second.in_force.get("age_years")
    if first.recorded_on is None or second.recorded_on is None:
        return
    if isinstance(ages[0], int | float) and isinstance(ages[1], int | float):
        between = (second.recorded_on - first.recorded_on).days / YEAR
        if abs(ages[1] - ages[0] - between) > BIRTHDAY:
            yield (
                f"is {ages[0]:g} years old in {first.reference}, recorded on {day_words(first.recorded_on)}, "
                f"and {ages[1]:g} in {second.reference}, recorded on {day_words(second.recorded_on)}"
            )
