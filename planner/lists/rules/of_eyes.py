"""The rules about a patient's two eyes: one function a rule, each saying in sentences where it is broken.

`fellow` is the other eye where it is on none of these lists: its day counts as if it were. A patient without a
pseudonym cannot be found again, so for them the checker asks.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from itertools import combinations

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance, Placing
from planner.lists.week.week import Broken, Week
from planner.wording.words import day_words


def may_both(instance: Instance, agreed: bool, one: Session, other: Session) -> bool:
    """Whether one patient may have an eye in each of two sessions, or both in one, by the rules below.

    `agreed` says that both eyes on one day were agreed with the patient. The review is not asked for here.
    """
    if one.day != other.day:
        return abs((one.day - other.day).days) >= instance.days_between_eyes and not one.meets(other)
    return agreed and (one.id == other.id or not one.meets(other))


def patient_in_one_theatre(week: Week) -> Iterator[Broken]:
    """No patient is on two lists that run at the same time, whatever was agreed."""
    for patient, one, other in _pairs(week):
        if one.session != other.session and week.session(one).meets(week.session(other)):
            says = f"{week.told(other)}: {patient} is in {one.session} at the same time, for {week.case(one).told}."
            change = "Move one of the two to a list that runs at another time."
            yield Broken("patient-in-one-theatre", other.session, week.case(other).told, says, change)


def one_eye_a_day(week: Week) -> Iterator[Broken]:
    """A patient has one eye operated on a day, in whatever session and theatre, unless both were agreed."""
    for patient, one, other in _pairs(week):
        if patient not in week.lists.both_eyes_agreed and week.session(one).day == week.session(other).day:
            where = " on the same list" if one.session == other.session else f", in {one.session}, on the same day"
            yield _both(week, other, patient, f"{week.case(one).told}{where}")
    for placing in week.lists.placings:
        case = week.case(placing)
        if case.patient in week.lists.both_eyes_agreed or case.fellow is None:
            continue
        if case.fellow.day == week.session(placing).day:
            yield _both(week, placing, case.patient or "the patient", f"{case.fellow.told} on the same day")


def _both(week: Week, placing: Placing, patient: str, what: str) -> Broken:
    says = f"{week.told(placing)}: {patient} has {what}."
    change = (
        f"Move one of the two, or once that is agreed enter `both_eyes_agreed: yes` for {patient} under the roster's "
        "patients, or name them under `both_eyes_agreed` in a lists file."
    )
    return Broken("one-eye-a-day", placing.session, week.case(placing).told, says, change)


def between_eyes(week: Week) -> Iterator[Broken]:
    """Between a patient's two eyes lie at least so many days as the unit says, except where both are on one day."""
    for _, one, other in _pairs(week):
        if 0 < _days(week, one, week.session(other).day) < week.instance.days_between_eyes:
            yield _too_near(week, other, f"{week.case(one).told}, in {one.session}", week.session(one).day)
    for placing in week.lists.placings:
        fellow = week.case(placing).fellow
        if fellow is None or fellow.day is None:
            continue
        if 0 < _days(week, placing, fellow.day) < week.instance.days_between_eyes:
            yield _too_near(week, placing, fellow.told, fellow.day)


def _too_near(week: Week, placing: Placing, first: str, day: datetime.date) -> Broken:
    least, apart = week.instance.days_between_eyes, _days(week, placing, day)
    says = f"{week.told(placing)}: {apart} day{'s' if apart != 1 else ''} from {first} on {day_words(day)}; "
    says += f"at least {least} between the two eyes ({week.instance.days_between_eyes_basis})."
    return Broken("between-eyes", placing.session, week.case(placing).told, says, "Move one of the two.")


def first_eye_reviewed(week: Week) -> Iterator[Broken]:
    """A second eye follows once the first, operated on already, was examined after that and before this day."""
    for placing, first, recorded, due in _not_reviewed(week):
        if due:
            says = f"{week.told(placing)}: the first eye is {first}, and {recorded}."
            change = "Examine the first eye and record the day, or move the case to after that."
            yield Broken("first-eye-reviewed", placing.session, week.case(placing).told, says, change)


def reviews_to_come(week: Week) -> Iterator[Broken]:
    """The same of a first eye that has its place before the second: its examination is asked for, to be recorded."""
    for placing, first, recorded, due in _not_reviewed(week):
        if not due:
            says = f"{week.told(placing)}: the first eye is {first}, and {recorded}."
            change = (
                f"Record it before {day_words(week.session(placing).day)}; without it the second eye does not follow."
            )
            yield Broken("first-eye-reviewed", placing.session, week.case(placing).told, says, change)


def _not_reviewed(week: Week) -> Iterator[tuple[Placing, str, str, bool]]:
    """Second eyes without an examination of the first between the two operations: what and when the first is, what is
    recorded instead, and whether it is due by now."""
    for placing, first, before, due in _second_eyes(week):
        found, day = week.case(placing).reviewed_on, week.session(placing).day
        if found is None:
            yield placing, first, "no examination of it after its operation is recorded", due
        elif found > day or (before is not None and found <= before):
            yield (
                placing,
                first,
                f"the examination recorded is of {day_words(found)}, not between the two operations",
                due,
            )


def _second_eyes(week: Week) -> Iterator[tuple[Placing, str, datetime.date | None, bool]]:
    """Each placing of a second eye, with what and when the first is, and whether its review is due by now."""
    for _, one, other in _pairs(week):
        if week.session(one).day < week.session(other).day:
            day = week.session(one).day
            yield other, f"{week.case(one).told}, in {one.session} on {day_words(day)}", day, False
    for placing in week.lists.placings:
        fellow = week.case(placing).fellow
        if fellow is not None and (fellow.day is None or fellow.day < week.session(placing).day):
            yield (
                placing,
                f"{fellow.told}{f' on {day_words(fellow.day)}' if fellow.day else ''}",
                fellow.day,
                fellow.review_due,
            )


def _pairs(week: Week) -> Iterator[tuple[str, Placing, Placing]]:
    """Every two placings of different cases of one patient, the earlier first."""
    for patient, placings in week.of_patients.items():
        for one, other in combinations(placings, 2):
            if one.case != other.case:
                yield patient, one, other


def _days(week: Week, placing: Placing, day: datetime.date) -> int:
    return abs((week.session(placing).day - day).days)
