"""The checker: judges any lists, made by hand or by machine, against every hard rule. It solves nothing.

What is not recorded, or is not as it should be, and could make a list wrong is asked, never taken as absent.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from planner.lists.roster.shapes import Session
from planner.lists.rules import eyes, patient, people, sessions
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.urgency import days
from planner.lists.week.week import Week
from planner.wording.words import day_words

PRESSING = ("urgent", "soon")


@dataclass(frozen=True)
class SessionInNumbers:
    """One session's list in numbers."""

    session: str
    told: str
    cases: int
    expected_minutes: float
    minutes: int
    chance_of_overrun: float


@dataclass(frozen=True)
class Breach:
    """A case past its date: by how many days on the day of its session (None: no place), or else of planning."""

    case: str
    session: str | None
    days: int
    says: str


@dataclass(frozen=True)
class Verdict:
    """What is broken, what must be asked, each session in numbers, the cases on no list, and those past their date."""

    broken: tuple[Broken, ...]
    asked: tuple[Broken, ...]
    sessions: tuple[SessionInNumbers, ...]
    unplaced: tuple[str, ...]
    breaches: tuple[Breach, ...] = ()

    @property
    def stands(self) -> bool:
        return not self.broken


def check(instance: Instance, lists: Lists) -> Verdict:
    """Judge lists whose every name is known to the instance. Pure; raises nothing."""
    week = Week(instance, lists)
    placed = lists.placed
    return Verdict(
        broken=tuple(RULES.broken(week)),
        asked=tuple(asked(week)),
        sessions=tuple(_in_numbers(week, session) for session in week.sessions),
        unplaced=tuple(case.in_words for key, case in instance.cases.items() if key not in placed),
        breaches=tuple(_breaches(week)),
    )


def _in_numbers(week: Week, session: Session) -> SessionInNumbers:
    cases, expected = len(week.list_of(session.id)), week.expected_minutes(session.id)
    chance = week.chance_of_overrun(session.id)
    return SessionInNumbers(session.id, session.in_words, cases, expected, session.minutes, chance)


def _breaches(week: Week) -> Iterator[Breach]:
    """Every case past its date, whose turn it is first: those in their places, and those without one."""
    instance, placed = week.instance, {placing.case: placing for placing in week.lists.placings}
    late = {key for key, p in placed.items() if (last := instance.cases[key].last_day) and week.session(p).day > last}
    for key in sorted(late | instance.past_their_date, key=instance.turn):
        case, at = instance.cases[key], placed.get(key)
        day = instance.planned_on if at is None else week.session(at).day
        if case.last_day is None or day <= case.last_day:
            continue
        count = (day - case.last_day).days
        where = f"{case.in_words}, in no list" if at is None else week.in_words(at)
        accepted = f" Accepted: {case.late_because}." if case.late_because else ""
        says = f"{where}: {days(count)} past its date on {day_words(day)} ({case.why_then}).{accepted}"
        yield Breach(case.in_words, at.session if at else None, count, says)


def asked(week: Week) -> Iterator[Broken]:
    """What must be asked of a week, case by case and then of its lists together."""
    for session in week.sessions:
        for placing in week.list_of(session.id):
            yield from asked_of(week, placing)
    yield from eyes.reviews_to_come(week)
    yield from sessions.nights_before(week)


def asked_of(week: Week, placing: Placing) -> Iterator[Broken]:
    """The same of one case in its place."""
    case = week.case(placing)
    for order in week.instance.order:
        if case.order[order.id] is None:
            change = f"Ask; if so, it goes {'first' if order.first else 'last'}."
            yield sessions.fixed_order.broken(placing, "{at}: not recorded: {asked}.", change, asked=order.asked)
    if case.approval is not None and case.approval.on_operator and not week.uncovered(placing):
        says = "{at}: approved on a condition on who operates: {condition}."
        change = "See that these people meet it."
        yield people.approval_covers.broken(placing, says, change, condition=case.approval.on_operator)
    if case.patient is None and len(week.lists.placings) > 1:
        says = "{at}: no patient's pseudonym, so another eye of the same patient is not seen."
        yield eyes.one_eye_a_day.broken(placing, says, "Record `patient:` in the case.")
    for problem, change, facts in _of_waiting(week, placing):
        yield patient.deadline.broken(placing, f"{{at}}: {problem}.", change, **facts)
    for problem, change, facts in _of_dates(week, placing):
        yield patient.settled.broken(placing, f"{{at}}: {problem}.", change, **facts)


def _of_waiting(week: Week, placing: Placing) -> Iterator[tuple[str, str, dict[str, Any]]]:
    case, day = week.case(placing), week.session(placing).day
    if case.urgency is None and case.last_day is None:
        yield "urgency is not recorded", "Record it; until then no day is too late.", {}
    if case.urgency in PRESSING and case.last_day is None:
        change = "Record needed_by, or set the unit's within_days; until then no day is too late."
        yield "{urgency}, with no date by which it is needed", change, {"urgency": case.urgency}
    if case.since is None:
        problem = "neither a date of listing nor the day recorded, so nobody knows how long it has waited"
        yield problem, "Record listed_on.", {}
    today = min(day, week.instance.on or day)
    for words, since in (("listed", case.since if case.listed else None), ("recorded", case.recorded_on)):
        if since is not None and since > today:
            change = "Look at the date: a slip of the pen hides how long it has waited and what is old."
            yield f"{words} on {{since}}, which is later than {{today}}", change, {"since": since, "today": today}


def _of_dates(week: Week, placing: Placing) -> Iterator[tuple[str, str, dict[str, Any]]]:
    day = week.session(placing).day
    for label, measured, holds in week.case(placing).dated:
        facts = {"label": label, "measured": measured, "holds": holds, "day": day}
        if measured is None:
            yield "{label} is not recorded, and holds for {holds:days}", "Ask when it was, and record it.", facts
        elif measured > day:
            yield "{label} {measured} is later than the session", "Look at the date, and record it anew.", facts
        elif (age := (day - measured).days) > holds:
            problem = "{label} {measured} is {age:days} old on {day}, and holds for {holds:days}"
            yield problem, "Measure again before that day, or move the case forward.", facts | {"age": age}
