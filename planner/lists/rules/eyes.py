"""The rules about a patient's two eyes: on one day or days apart, and the first examined before the second.

`fellow` is the other eye where it is on none of these lists: its day counts as if it were. A patient without a
pseudonym cannot be found again, so for them the checker asks.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from planner.lists.roster.shapes import Session
from planner.lists.rules.facts import HOURS, PATIENT, PSEUDONYM
from planner.lists.rules.rule import Broken, rule
from planner.lists.week.instance import Instance, Placing
from planner.lists.week.week import Week


def may_both(instance: Instance, agreed: bool, one: Session, other: Session) -> bool:
    """Whether one patient may have an eye in each of two sessions, or both in one, by the rules below.

    `agreed` says that both eyes on one day were agreed with the patient. The review is not asked for here.
    """
    if one.day != other.day:
        return abs((one.day - other.day).days) >= instance.days_between_eyes and not one.meets(other)
    return agreed and (one.id == other.id or not one.meets(other))


@rule("the patient is on no other list at that time", PATIENT, *HOURS, scope="patient", modelled=True)
def patient_in_one_theatre(week: Week) -> Iterator[Broken]:
    """No patient is on two lists that run at the same time, whatever was agreed."""
    for patient, one, other in _pairs(week):
        if one.session != other.session and week.session(one).meets(week.session(other)):
            says = "{at}: {patient} is in {elsewhere} at the same time, for {other}."
            change = "Move one of the two to a list that runs at another time."
            yield patient_in_one_theatre.broken(
                other, says, change, patient=patient, elsewhere=one.session, other=one.case
            )


@rule(
    "one eye of a patient a day, unless both were agreed",
    *(PATIENT, "case.fellow", *HOURS),
    scope="patient",
    modelled=True,
)
def one_eye_a_day(week: Week) -> Iterator[Broken]:
    """A patient has one eye operated on a day, in whatever session and theatre, unless both were agreed."""
    change = (
        "Move one of the two, or once that is agreed enter `both_eyes_agreed: yes` for {patient} under the roster's "
        "patients, or name them under `both_eyes_agreed` in a lists file."
    )
    for placing, other in _two_eyes(week):
        patient = week.case(placing).patient
        if patient in week.lists.both_eyes_agreed or other.day != week.session(placing).day:
            continue
        where = f"{other.where}{',' if 'elsewhere' in other.facts else ''} on the same day"
        if other.facts.get("elsewhere") == placing.session:
            where = "{other} on the same list"
        says = f"{{at}}: {{patient}} has {where}."
        yield one_eye_a_day.broken(placing, says, change, patient=patient or "the patient", **other.facts)


@rule(
    "days enough lie between a patient's two eyes",
    *(PATIENT, "case.fellow", "instance.days_between_eyes", "instance.days_between_eyes_basis", *HOURS),
    scope="patient",
    modelled=True,
)
def between_eyes(week: Week) -> Iterator[Broken]:
    """Between a patient's two eyes lie at least so many days as the unit says, except where both are on one day."""
    least, basis = week.instance.days_between_eyes, week.instance.days_between_eyes_basis
    for placing, other in _two_eyes(week):
        apart = abs((week.session(placing).day - other.day).days) if other.day is not None else 0
        if 0 < apart < least:
            says = f"{{at}}: {{apart:days}} from {other.where} on {{day}}; at least {{least}} between the two eyes "
            facts = {"apart": apart, "day": other.day, "least": least, "basis": basis} | other.facts
            yield between_eyes.broken(placing, f"{says}({{basis}}).", "Move one of the two.", **facts)


@rule(
    "the first eye was examined before the second follows",
    *("case.fellow", "case.reviewed_on", PSEUDONYM, *HOURS),
    scope="case",
    modelled=True,
)
def first_eye_reviewed(week: Week) -> Iterator[Broken]:
    """A second eye follows once the first, operated on already, was examined after that and before this day."""
    yield from _not_reviewed(week, due=True)


def reviews_to_come(week: Week) -> Iterator[Broken]:
    """The same of a first eye that has its place before the second: its examination is asked for, to be recorded."""
    yield from _not_reviewed(week, due=False)


def _not_reviewed(week: Week, due: bool) -> Iterator[Broken]:
    """Second eyes without an examination of the first between the two operations, whether that is `due` by now."""
    change = "Examine the first eye and record the day, or move the case to after that."
    if not due:
        change = "Record it before {before}; without it the second eye does not follow."
    for placing, first in _two_eyes(week):
        reviewed, day = week.case(placing).reviewed_on, week.session(placing).day
        if first.review_due is not due or (first.day is not None and first.day >= day):
            continue
        if reviewed is None:
            recorded = "no examination of it after its operation is recorded"
        elif reviewed > day or (first.day is not None and reviewed <= first.day):
            recorded = "the examination recorded is of {reviewed}, not between the two operations"
        else:
            continue
        says = f"{{at}}: the first eye is {first.where}{' on {day}' if first.day else ''}, and {recorded}."
        facts = first.facts | {"reviewed": reviewed, "day": first.day, "before": day}
        yield first_eye_reviewed.broken(placing, says, change, **facts)


@dataclass(frozen=True)
class _OtherEye:
    """A patient's other eye: on which day (None: not known), where in words, with what they are filled with."""

    day: datetime.date | None
    where: str
    facts: dict[str, Any]
    review_due: bool


def _two_eyes(week: Week) -> Iterator[tuple[Placing, _OtherEye]]:
    """Each placing of a patient's later eye with the earlier one, and then each with an eye that is on no list here."""
    for _, one, other in _pairs(week):
        facts = {"other": one.case, "elsewhere": one.session}
        yield other, _OtherEye(week.session(one).day, "{other}, in {elsewhere}", facts, False)
    for placing in week.lists.placings:
        if (fellow := week.case(placing).fellow) is not None:
            yield placing, _OtherEye(fellow.day, "{other}", {"other": fellow.in_words}, fellow.review_due)


def _pairs(week: Week) -> Iterator[tuple[str, Placing, Placing]]:
    """Every two placings of different cases of one patient, the earlier first."""
    for patient, placings in week.of_patients.items():
        for one, other in combinations(placings, 2):
            if one.case != other.case:
                yield patient, one, other
