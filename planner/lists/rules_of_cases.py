"""The rules about the patient and the eye: one function a rule, each saying in sentences where it is broken."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from planner.lists.week import Broken, Week

PLACE_IT_ELSEWHERE = "Move it to another list."


def on_one_list_once(week: Week) -> Iterator[Broken]:
    """A case is operated on once, and no two cases share a place."""
    for one, other in combinations(sorted(week.lists.placings), 2):
        if one.case == other.case:
            says = f"{week.told(other)} is also number {one.place} in {one.session}."
            yield Broken("on-one-list-once", other.session, week.case(other).told, says, "Keep one of the two.")
        elif (one.session, one.place) == (other.session, other.place):
            says = f"{week.told(other)} shares its place with {week.case(one).told}."
            yield Broken("on-one-list-once", other.session, week.case(other).told, says, "Say which comes first.")


def consent(week: Week) -> Iterator[Broken]:
    """Consent to surgery is recorded."""
    for placing in week.lists.placings:
        case = week.case(placing)
        if case.consent is not True:
            found = "consent to surgery is not recorded" if case.consent is None else "there is no consent to surgery"
            change = "Record it once it is given, or take the case off the list."
            yield Broken("consent", placing.session, case.told, f"{week.told(placing)}: {found}.", change)


def agreement(week: Week) -> Iterator[Broken]:
    """The patient's agreement to a trainee is recorded, or a consultant operates without one."""
    for placing in week.lists.placings:
        case = week.case(placing)
        if placing.trainee is not None and case.agreement is not True:
            asked = "is not recorded" if case.agreement is None else "was refused"
            says = f"{week.told(placing)}: agreement to a trainee {asked}, and {placing.trainee} is to take part."
            change = "A consultant operates without a trainee" + (
                ", or ask the patient and record the answer." if case.agreement is None else "."
            )
            yield Broken("agreement", placing.session, case.told, says, change)


def settled(week: Week) -> Iterator[Broken]:
    """Nothing is left that must be settled first."""
    for placing in week.lists.placings:
        case = week.case(placing)
        for reason in case.unsettled:
            says = f"{week.told(placing)}: settle first: {reason}."
            change = "Settle and record it, or take the case off the list."
            yield Broken("settled", placing.session, case.told, says, change)


def deadline(week: Week) -> Iterator[Broken]:
    """No case comes later than it is needed."""
    for placing in week.lists.placings:
        case, day = week.case(placing), week.session(placing).day
        if case.last_day is not None and day > case.last_day:
            says = f"{week.told(placing)}: {case.why_then}, and {day} is later."
            yield Broken("deadline", placing.session, case.told, says, f"Move it to {case.last_day} or before.")


def patient_can_come(week: Week) -> Iterator[Broken]:
    """The patient is not away on that day."""
    for placing in week.lists.placings:
        case, day = week.case(placing), week.session(placing).day
        early = case.not_before is not None and day < case.not_before
        if early or day in case.away:
            when = f"before {case.not_before}" if early else f"on {day}"
            says = f"{week.told(placing)}: {case.patient} cannot come {when}."
            yield Broken("patient-can-come", placing.session, case.told, says, "Move it to another day.")


def one_eye_a_list(week: Week) -> Iterator[Broken]:
    """A patient has one eye operated on in a list, unless both were agreed."""
    for session in week.sessions:
        first: dict[str, str] = {}
        for placing in week.list_of(session.id):
            case = week.case(placing)
            if case.patient is None or case.patient in week.lists.both_eyes_agreed:
                continue
            if case.patient in first:
                says = f"{week.told(placing)}: {case.patient} has {first[case.patient]} on the same list."
                change = f"Move one of the two, or write {case.patient} under both_eyes_agreed once that is agreed."
                yield Broken("one-eye-a-list", session.id, case.told, says, change)
            first.setdefault(case.patient, case.told)


def begun_first(week: Week) -> Iterator[Broken]:
    """Whatever is done or in hand stays the beginning of its list."""
    for session in week.sessions:
        placings = week.list_of(session.id)
        last = next((placing for placing in reversed(placings) if placing.case in week.instance.begun), None)
        for placing in placings:
            if last is None or placing.place >= last.place or placing.case in week.instance.begun:
                continue
            told = week.case(placing).told
            says = f"{week.told(placing)} comes before {week.case(last).told}, which is done or in hand."
            yield Broken("begun-first", session.id, told, says, f"Put it after number {last.place}.")


def fixed_order(week: Week) -> Iterator[Broken]:
    """Cases whose place is fixed come before, or after, all others."""
    for session in week.sessions:
        placings = week.list_of(session.id)
        for rule in week.instance.order:
            for one, other in combinations(placings, 2):
                early, late = week.case(one), week.case(other)
                if rule.first and late.order[rule.id] is True and early.order[rule.id] is not True:
                    says = f"{week.told(other)}: {rule.because} {early.told} comes before it."
                    yield Broken("fixed-order", session.id, late.told, says, f"Put it first ({rule.basis}).")
                    break
                if not rule.first and early.order[rule.id] is True and late.order[rule.id] is not True:
                    says = f"{week.told(one)}: {rule.because} {late.told} comes after it."
                    yield Broken("fixed-order", session.id, early.told, says, f"Put it last ({rule.basis}).")
                    break
