"""The checker: judges any lists, made by hand or by machine, against every hard rule. It solves nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.lists.roster.shapes import Session
from planner.lists.rules.asked import asked
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.urgency import days
from planner.lists.week.week import Week
from planner.wording.words import day_words


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
