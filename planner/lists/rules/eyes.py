"""The rules about a patient's two eyes: on one day or days apart, and the first examined before the second.

`fellow` is the other eye where it is on none of these lists: its day counts as if it were. A patient without a
pseudonym cannot be found again, so for them the checker asks.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
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
    for patient, one, other in _pairs(week):
        if patient not in week.lists.both_eyes_agreed and week.session(one).day == week.session(other).day:
            where = " on the same list" if one.session == other.session else ", in {elsewhere}, on the same day"
            yield _both(other, patient, where, other=one.case, elsewhere=one.session)
    for placing in week.lists.placings:
        case = week.case(placing)
        if case.patient in week.lists.both_eyes_agreed or case.fellow is None:
            continue
        if case.fellow.day == week.session(placing).day:
            yield _both(placing, case.patient or "the patient", " on the same day", other=case.fellow.in_words)


def _both(placing: Placing, patient: str, where: str, **facts: Any) -> Broken:
    change = (
        "Move one of the two, or once that is agreed enter `both_eyes_agreed: yes` for {patient} under the roster's "
        "patients, or name them under `both_eyes_agreed` in a lists file."
    )
    says = f"{{at}}: {{patient}} has {{other}}{where}."
    return one_eye_a_day.broken(placing, says, change, patient=patient, **facts)


@rule(
    "days enough lie between a patient's two eyes",
    *(PATIENT, "case.fellow", "instance.days_between_eyes", "instance.days_between_eyes_basis", *HOURS),
    scope="patient",
    modelled=True,
)
def between_eyes(week: Week) -> Iterator[Broken]:
    """Between a patient's two eyes lie at least so many days as the unit says, except where both are on one day."""
    pairs = [
        (other, week.session(one).day, "{other}, in {elsewhere}", {"other": one.case, "elsewhere": one.session})
        for _, one, other in _pairs(week)
    ]
    for placing in week.lists.placings:
        fellow = week.case(placing).fellow
        if fellow is not None and fellow.day is not None:
            pairs.append((placing, fellow.day, "{other}", {"other": fellow.in_words}))
    least, basis = week.instance.days_between_eyes, week.instance.days_between_eyes_basis
    for placing, day, first, facts in pairs:
        apart = abs((week.session(placing).day - day).days)
        if 0 < apart < least:
            says = (
                f"{{at}}: {{apart:days}} from {first} on {{day}}; at least {{least}} between the two eyes ({{basis}})."
            )
            yield between_eyes.broken(
                placing, says, "Move one of the two.", apart=apart, day=day, least=least, basis=basis, **facts
            )


@rule(
    "the first eye was examined before the second follows",
    *("case.fellow", "case.reviewed_on", PSEUDONYM, *HOURS),
    scope="case",
    modelled=True,
)
def first_eye_reviewed(week: Week) -> Iterator[Broken]:
    """A second eye follows once the first, operated on already, was examined after that and before this day."""
    change = "Examine the first eye and record the day, or move the case to after that."
    yield from (first_eye_reviewed.broken(at, says, change, **facts) for at, says, facts, due in _reviews(week) if due)


def reviews_to_come(week: Week) -> Iterator[Broken]:
    """The same of a first eye that has its place before the second: its examination is asked for, to be recorded."""
    change = "Record it before {before}; without it the second eye does not follow."
    for at, says, facts, due in _reviews(week):
        if not due:
            yield first_eye_reviewed.broken(at, says, change, before=week.session(at).day, **facts)


def _reviews(week: Week) -> Iterator[tuple[Placing, str, dict[str, Any], bool]]:
    """Second eyes without an examination of the first between the two operations: the sentence that says so with what
    it is filled with, and whether the examination is due by now."""
    for placing, first, before, facts, due in _second_eyes(week):
        reviewed, day = week.case(placing).reviewed_on, week.session(placing).day
        if reviewed is None:
            recorded = "no examination of it after its operation is recorded"
        elif reviewed > day or (before is not None and reviewed <= before):
            recorded = "the examination recorded is of {reviewed}, not between the two operations"
        else:
            continue
        says = f"{{at}}: the first eye is {first}, and {recorded}."
        yield placing, says, facts | {"reviewed": reviewed, "day": before}, due


def _second_eyes(week: Week) -> Iterator[tuple[Placing, str, datetime.date | None, dict[str, Any], bool]]:
    """Each placing of a second eye, with what and when the first is, and whether its review is due by now."""
    for _, one, other in _pairs(week):
        if week.session(one).day < week.session(other).day:
            facts = {"other": one.case, "elsewhere": one.session}
            yield other, "{other}, in {elsewhere} on {day}", week.session(one).day, facts, False
    for placing in week.lists.placings:
        fellow = week.case(placing).fellow
        if fellow is not None and (fellow.day is None or fellow.day < week.session(placing).day):
            first = "{other} on {day}" if fellow.day else "{other}"
            yield placing, first, fellow.day, {"other": fellow.in_words}, fellow.review_due


def _pairs(week: Week) -> Iterator[tuple[str, Placing, Placing]]:
    """Every two placings of different cases of one patient, the earlier first."""
    for patient, placings in week.of_patients.items():
        for one, other in combinations(placings, 2):
            if one.case != other.case:
                yield patient, one, other
