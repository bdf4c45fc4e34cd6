"""The rules about the patient and the eye: one function a rule, each saying in sentences where it is broken."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from itertools import combinations

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import FixedOrder, Placing
from planner.lists.week.week import Broken, Week
from planner.wording.words import day_words


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
    """No case comes later than it is needed, unless it is past its date when planned, or that was accepted."""
    for placing in week.lists.placings:
        case, day = week.case(placing), week.session(placing).day
        if case.last_day is not None and day > case.last_day and placing.case not in week.instance.past_their_date:
            says = f"{week.told(placing)}: {case.why_then}, and {day_words(day)} is later."
            yield Broken(
                "deadline", placing.session, case.told, says, f"Move it to {day_words(case.last_day)} or before."
            )


def patient_can_come(week: Week) -> Iterator[Broken]:
    """The patient is not away on that day."""
    for placing in week.lists.placings:
        case, day = week.case(placing), week.session(placing).day
        first = case.not_before if case.not_before is not None and day < case.not_before else None
        if first is not None or day in case.away:
            when = f"on {day_words(day)}" if first is None else f"before {day_words(first)}"
            says = f"{week.told(placing)}: {case.patient} cannot come {when}."
            yield Broken("patient-can-come", placing.session, case.told, says, "Move it to another day.")


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
    """Cases with a fixed place keep it in their theatre's whole day, one list after the other.

    First those who must be first, then those in whom that is not recorded, then all others. Those who must be last
    have nobody after them but others who must.
    """
    for placings in week.room_days:
        for rule in week.instance.order:
            for placing, other in _out_of_order(week, rule, placings):
                yield _misplaced(week, rule, placing, other)


def nights_before(week: Week) -> Iterator[Broken]:
    """The theatres that begin with a case that must be first, or may, after a session of the day before into the night.

    Nobody knows from the lists whether such a theatre was free of what harms that case by the morning; a session that
    has no list of ours may still be somebody's.
    """
    evenings: dict[tuple[datetime.date, str], Session] = {}
    for there in sorted(week.instance.sessions.values(), key=lambda one: one.span[1]):
        evenings[there.day, there.room] = there
    for first in (placings[0] for placings in week.room_days):
        session, case = week.session(first), week.case(first)
        evening = evenings.get((session.day - datetime.timedelta(days=1), session.room))
        if evening is None or evening.span[1] <= datetime.datetime.combine(evening.day, week.instance.night_from):
            continue
        for rule in (rule for rule in week.instance.order if rule.first and case.order[rule.id] is not False):
            says = (
                f"{week.told(first)}: {evening.id} runs in {evening.theatre} until {evening.span[1]:%H:%M} the evening "
            )
            change = f"Ask whether the theatre has rested since. {rule.because}"
            yield Broken("fixed-order", session.id, case.told, f"{says}before.", change)


def _out_of_order(week: Week, rule: FixedOrder, placings: tuple[Placing, ...]) -> Iterator[tuple[Placing, Placing]]:
    """Each case in the wrong place, with another that stands on its wrong side."""
    ranks = [rule.rank(week.case(placing)) for placing in placings]
    for n, placing in enumerate(placings):
        if rule.first:
            wrong = next((m for m in range(n) if ranks[m] > ranks[n]), None)
        else:
            wrong = next((m for m in range(n + 1, len(placings)) if ranks[m] < ranks[n]), None)
        if wrong is not None:
            yield placing, placings[wrong]


def _misplaced(week: Week, rule: FixedOrder, one: Placing, other: Placing) -> Broken:
    """What is wrong with the place of `one`, in view of `other`."""
    session, case = week.session(one), week.case(one)
    told = week.case(other).told if one.session == other.session else week.told(other)
    day = "" if one.session == other.session else f" in {session.theatre} that day"
    if case.order[rule.id] is None:
        says = f"{week.told(one)}: not recorded: {rule.asked}. {told} comes before it, where it is recorded as absent."
        change = f"Ask and record it, or put it before all such cases{day} ({rule.basis})."
    else:
        says = f"{week.told(one)}: {rule.because} {told} comes {'before' if rule.first else 'after'} it."
        change = f"Put it {'first' if rule.first else 'last'}{day} ({rule.basis})."
    return Broken("fixed-order", one.session, case.told, says, change)
