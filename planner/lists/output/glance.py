"""The weeks at a glance for the organiser: each session in one row, what waits without a place, and whose turn."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass
from itertools import groupby

from planner.documents.figures import day
from planner.lists.matching.conflict import barring
from planner.lists.matching.reasons import pressing
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import WORDS, check
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.week import Week
from planner.wording.language import say, side_of
from planner.wording.people import in_a_line


@dataclass(frozen=True)
class Entry:
    """A case in one line: `who` is the operator, and under whom where that is somebody else."""

    order: int
    side: str
    reference: str
    tier: int
    who: str


@dataclass(frozen=True)
class Row:
    """A session: minutes expected of minutes there are, the chance of overrun as a fraction, and what is wrong."""

    session: Session
    hours: str
    expected: int
    chance: float
    too_long: bool
    entries: tuple[Entry, ...]
    broken: tuple[str, ...]
    past: tuple[str, ...]  # cases past their date
    asked: int

    @property
    def filled(self) -> int:
        """Share of the minutes, in percent, 100 at most."""
        return min(100, round(100 * self.expected / self.session.minutes))


@dataclass(frozen=True)
class Day:
    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class GlanceWeek:
    title: str
    days: tuple[Day, ...]


@dataclass(frozen=True)
class Waiting:
    """A case without a place, how pressing it is, and the rules that bar it."""

    side: str
    reference: str
    tier: int
    pressing: str
    barred: tuple[str, ...]


@dataclass(frozen=True)
class Share:
    """What a trainee has on all of the lists: whole operations, and cases with named steps."""

    trainee: str
    stage: str
    whole: int
    steps: int


@dataclass(frozen=True)
class Glance:
    weeks: tuple[GlanceWeek, ...]
    waiting: tuple[Waiting, ...]
    shares: tuple[Share, ...]
    placed: int
    limit: float


def glance(instance: Instance, lists: Lists) -> Glance:
    """Every session of the sessions file, with a list or without one, by week and day."""
    week, verdict = Week(instance, lists), check(instance, lists)
    broken: dict[str, list[str]] = {}
    for one in verdict.broken:
        broken.setdefault(one.session, []).append(one.says)
    asked = Counter(one.session for one in verdict.asked)
    past: dict[str | None, list[str]] = {}
    for breach in verdict.breaches:
        past.setdefault(breach.session, []).append(breach.says)
    sessions = sorted(instance.sessions.values(), key=lambda session: (session.span[0], session.theatre))

    def row(session: Session) -> Row:
        chance = week.chance_of_overrun(session.id)
        return Row(
            session, f"{session.span[0]:%H:%M}–{session.span[1]:%H:%M}", round(week.expected_minutes(session.id)),
            chance, chance > instance.overrun_chance, tuple(_entry(week, p) for p in week.list_of(session.id)),
            tuple(broken.get(session.id, ())), tuple(past.get(session.id, ())), asked[session.id],
        )  # fmt: skip

    weeks = [
        GlanceWeek(
            say("Week of %(day)s", day=day(monday)),
            tuple(Day(f"{on:%A} {day(on)}", tuple(map(row, of_day))) for on, of_day in groupby(of_week, _day)),
        )
        for monday, of_week in groupby(sessions, lambda s: s.day - datetime.timedelta(s.day.weekday()))
    ]
    placed = {placing.case for placing in lists.placings}
    waiting = [key for key in instance.cases if key not in placed]
    waiting.sort(key=instance.turn)
    return Glance(
        tuple(weeks), tuple(_waiting(instance, key, rules) for key, rules in barring(instance, lists, waiting).items()),
        tuple(_share(week, name) for name in instance.trainees), len(placed), instance.overrun_chance,
    )  # fmt: skip


def _day(session: Session) -> datetime.date:
    return session.day


def _entry(week: Week, placing: Placing) -> Entry:
    case = week.case(placing)
    return Entry(placing.place, side_of(case.eye), case.reference, case.tier, in_a_line(week.team(placing)))


def _waiting(instance: Instance, key: tuple[str, str], rules: tuple[str, ...]) -> Waiting:
    case = instance.cases[key]
    barred = tuple(WORDS[rule] for rule in rules)
    return Waiting(side_of(case.eye), case.reference, case.tier, pressing(instance, key), barred)


def _share(week: Week, name: str) -> Share:
    own = [placing for placing in week.lists.placings if placing.trainee == name]
    whole = sum(week.supervision(placing).whole for placing in own)
    return Share(name, week.instance.trainees[name].stage, whole, len(own) - whole)
