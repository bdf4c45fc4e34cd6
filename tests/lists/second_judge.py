"""A second judge of lists, written from README.md by somebody who had not read the first one's code.

It shares with the program what reads files and what plans an eye; every rule is told anew, as the README words it, and
in the plainest way: no speed, no sentences. Times are drawn at random where the program works them out.
"""

from __future__ import annotations

import datetime
import random
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from itertools import combinations
from math import exp, log, sqrt
from statistics import NormalDist

from planner.assess.assess import assess
from planner.case import Case, Stage
from planner.lists.roster.shapes import Roster, Session
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

# How close a supervisor is, the furthest first; the last two are a consultant's own hands.
MODES = ("on-site", "in-theatre", "scrubbed", "consultant-operates", "consultant-only")
# A session, and the case in it; None where the rule is of the whole session.
Place = tuple[str, str | None]
DAYS = 20_000
# A chance of overrun so near to the limit that the days drawn do not tell them apart: over three standard errors.
TOO_NEAR = 0.005


@dataclass(frozen=True, eq=False)
class Line:
    """A line of a list: who is operated on in which place, counted from 1, by whom and under whom."""

    session: str
    place: int
    case: Case
    trainee: str | None
    supervisor: str

    @property
    def told(self) -> Place:
        return self.session, f"{self.case.reference}, {self.case.eye} eye"


@dataclass(frozen=True)
class OtherEye:
    """A patient's other eye that the records know and no list has: its day (None: not known), and whether its review
    must be on record by now or is only asked for."""

    day: datetime.date | None
    due: bool


@dataclass(frozen=True)
class Told:
    """A rule that is broken, or that cannot be told and must be asked, and the places of which any one shows it."""

    rule: str
    places: frozenset[Place]
    asked: bool = False


@dataclass
class Judge:
    """All that lists are judged by. `agreed` are patients who may have both eyes on one day, `begun` the cases that are
    done or in hand, `elsewhere` the other eyes that the records know."""

    rulebook: Rulebook
    unit: Unit
    roster: Roster
    lines: Sequence[Line]
    agreed: frozenset[str] = frozenset()
    begun: frozenset[tuple[str, str]] = frozenset()
    elsewhere: Mapping[tuple[str, str], OtherEye] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.sessions = {session.id: session for session in self.roster.sessions}
        self.supervisors = {person.id: person for person in self.roster.supervisors}
        self.learners = {person.id: person for person in self.roster.trainees}
        self.patients = {patient.id: patient for patient in self.roster.patients}

    @cached_property
    def times(self) -> dict[Line, tuple[float, float, float]]:
        return {line: self._minutes(line) for line in self.lines}

    # What is looked up of one line.

    def session(self, line: Line) -> Session:
        return self.sessions[line.session]

    def other_eye(self, line: Line) -> OtherEye | None:
        """The patient's other eye where it is on none of these lists, by the records or else by this case alone."""
        second = line.case.in_force.get("second_eye") is True
        own = OtherEye(None, due=True) if second else None
        return self.elsewhere.get((line.case.reference, line.case.eye), own)

    def stage(self, line: Line) -> Stage | None:
        return self.unit.stage_of(line.trainee, self.rulebook) if line.trainee else None

    def plan(self, line: Line) -> Plan:
        return planned(line.case, self.rulebook, self.unit, self.stage(line))

    def demanded(self, line: Line) -> tuple[str, str]:
        """How close the supervisor must be, and of which grade."""
        if line.trainee is None:
            return "consultant-only", "consultant"
        supervision = self.plan(line).supervision
        return supervision.mode, supervision.by

    def served(self, line: Line) -> str:
        """How close this supervisor is: as demanded, or closer where they supervise in no wider way."""
        mode = self.demanded(line)[0]
        close_enough = [m for m in MODES[MODES.index(mode) :] if m in self.supervisors[line.supervisor].can]
        return mode if mode in MODES[3:] or not close_enough else close_enough[0]

    def _minutes(self, line: Line) -> tuple[float, float, float]:
        """Mean and spread of the operation, and what devices add that the plan sets or has to hand."""
        operator, limits = self.stage(line) or "consultant", self.roster.limits
        own, grade = limits.operating_minutes.get(operator), self.rulebook.durations.grade_of(operator)
        drawn = {device.device for chosen in self.plan(line).choices.values() for device in chosen.way.drawn}
        added = sum(row.minutes for row in self.rulebook.durations.additions if row.device in drawn)
        return (own or grade).mean, (own or grade).sd, added

    @property
    def turnover(self) -> float:
        own = self.roster.limits.turnover_minutes
        return self.rulebook.durations.turnover.minutes if own is None else own

    def of(self, session: str) -> list[Line]:
        """A session's list, in order."""
        return sorted((line for line in self.lines if line.session == session), key=lambda line: line.place)

    def at_one_time(self) -> Iterator[tuple[Line, Line]]:
        """Pairs of lines in two sessions that run at the same time for a while."""
        for one, other in combinations(self.lines, 2):
            if one.session != other.session and meet(self.session(one), self.session(other)):
                yield one, other


def broken(rule: str, *lines: Line) -> Told:
    return Told(rule, frozenset(line.told for line in lines))


def asked(rule: str, line: Line) -> Told:
    return Told(rule, frozenset({line.told}), True)


def meet(one: Session, other: Session) -> bool:
    begins = [datetime.datetime.combine(each.day, each.starts) for each in (one, other)]
    ends = [begin + datetime.timedelta(minutes=each.minutes) for begin, each in zip(begins, (one, other), strict=True)]
    return max(begins) < min(ends)


_PLANS: dict[tuple[int, Stage | None], tuple[Case, Plan]] = {}


def planned(case: Case, rulebook: Rulebook, unit: Unit, stage: Stage | None) -> Plan:
    """The plan of a case for a stage; kept, with its case, so that no other case can take the place of one let go."""
    key = id(case), stage
    if key not in _PLANS:
        _PLANS[key] = case, make_plan(assess(case, rulebook, unit), rulebook, unit, stage)
    return _PLANS[key][1]


def limit(judge: Judge) -> float:
    return judge.roster.limits.overrun_chance or judge.rulebook.durations.overrun.chance_at_most


def too_near_to_tell(judge: Judge) -> set[str]:
    """The sessions whose chance of overrun draws cannot tell from the limit."""
    return {s.id for s in judge.roster.sessions if abs(chance_of_overrun(judge, s.id) - limit(judge)) < TOO_NEAR}


def chance_of_overrun(judge: Judge, session: str) -> float:
    """Of so many days drawn, how many take longer than the session is: a turnover follows every operation."""
    listed = judge.of(session)
    fixed = sum(judge.times[line][2] + judge.turnover for line in listed)
    days = drawn_days(tuple(sorted(judge.times[line][:2] for line in listed)))
    return 1 - bisect_right(days, judge.sessions[session].minutes - fixed) / DAYS


@cache
def drawn_days(times: tuple[tuple[float, float], ...]) -> list[float]:
    """The operating minutes of so many days in ascending order, each operation lognormal with its mean and spread."""
    chance = random.Random(repr(times))
    columns = [list(lognormal(mean, sd)) for mean, sd in times]
    for column in columns:
        chance.shuffle(column)
    return sorted(map(sum, zip(*columns, strict=True)))


@cache
def lognormal(mean: float, sd: float) -> tuple[float, ...]:
    """One operation on each of so many days, its quantiles evenly spaced, so that little is left to chance."""
    mu, sigma = log(mean**2 / sqrt(mean**2 + sd**2)), sqrt(log(1 + sd**2 / mean**2))
    return tuple(exp(NormalDist(mu, sigma).inv_cdf((n + 0.5) / DAYS)) for n in range(DAYS))


def unlike(mine: Iterable[Told], theirs: Iterable[Told]) -> tuple[set[Told], set[Told]]:
    """What only the first tell, and what only the others do; the same where they have a place in common."""

    def alone(some: set[Told], others: set[Told]) -> set[Told]:
        return {
            one
            for one in some
            if not any((o.rule, o.asked) == (one.rule, one.asked) and o.places & one.places for o in others)
        }

    told, others = set(mine), set(theirs)
    return alone(told, others), alone(others, told)
