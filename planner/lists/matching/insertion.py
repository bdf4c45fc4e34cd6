"""A case put into lists, moved, taken off, and tried in a place; the checker judges, and nothing here knows a rule."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from planner.lists.roster.shapes import Session
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken, Scope
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week


@dataclass(frozen=True)
class Assignment:
    """A session with who operates (None: the supervisor, a consultant) and who supervises."""

    session: str
    trainee: str | None
    supervisor: str

    @classmethod
    def of(cls, placing: Placing) -> Assignment:
        """Where a placing stands, whatever its place in the list."""
        return cls(placing.session, placing.trainee, placing.supervisor)

    def placing(self, key: Key, place: int = 1) -> Placing:
        """A case there; which place hardly ever matters to what is asked of it."""
        return Placing(self.session, place, key, self.trainee, self.supervisor)


@dataclass(frozen=True)
class Trial:
    """A case put somewhere: the lists with it there, its own placing, and what is then broken that it touches."""

    lists: Lists
    placing: Placing
    broken: tuple[Broken, ...]

    @property
    def rules(self) -> frozenset[str]:
        return frozenset(broken.rule for broken in self.broken)


def options(instance: Instance, sessions: Iterable[Session] | None = None) -> Iterator[Assignment]:
    """Every coming session, or these, with every pair of a trainee, or none, and a supervisor who is on it."""
    for session in instance.coming if sessions is None else sessions:
        for trainee in (*instance.trainees, None):
            for supervisor in session.supervisors:
                yield Assignment(session.id, trainee, supervisor)


def alone(instance: Instance, lists: Lists, key: Key, option: Assignment) -> bool:
    """Whether the case may stand there on an otherwise empty list; where it may not, no other case can help."""
    only = replace(lists, placings=(option.placing(key),))
    return RULES.stands(Week(instance, only))


def attempt(instance: Instance, lists: Lists, key: Key, option: Assignment) -> Trial:
    """The case put into lists, at the place in the list that breaks fewest rules.

    Judged are that list and the others that the case can touch, by the scopes of the rules.
    """
    touched: list[Placing] = []
    others: list[Placing] = []
    scopes = RULES.scopes
    for placing in lists.placings:
        (touched if _touches(instance, placing, key, option, scopes) else others).append(placing)
    best: Trial | None = None
    for place in _places(instance, touched, key, option):
        placings = _inserted(touched, key, option, place)
        broken = tuple(RULES.broken(Week(instance, replace(lists, placings=placings))))
        tried = Trial(replace(lists, placings=placings), placings[-1], broken)
        if best is None or len(tried.rules) < len(best.rules):
            best = tried
        if not best.rules & RULES.of_order:
            break
    assert best is not None
    return replace(best, lists=replace(lists, placings=(*others, *best.lists.placings)))


def _touches(instance: Instance, placing: Placing, key: Key, option: Assignment, scopes: Container[Scope]) -> bool:
    session, other = instance.sessions[option.session], instance.sessions[placing.session]
    patient = instance.cases[key].patient
    if "patient" in scopes and patient is not None and instance.cases[placing.case].patient == patient:
        return True
    if other.day != session.day:
        return False
    return (
        placing.session == option.session
        or ("theatre" in scopes and other.room == session.room)
        or ("supervisor" in scopes and placing.supervisor == option.supervisor)
        or ("trainee" in scopes and option.trainee is not None and placing.trainee == option.trainee)
        or "day" in scopes
    )


def usual_rank(instance: Instance, key: Key) -> tuple[int, ...]:
    """Where the rules of order would have a case: what is begun, then each fixed place in the rulebook's order."""
    case = instance.cases[key]
    first = (rule.rank(case) for rule in instance.order if rule.first)
    last = (rule.rank(case) for rule in instance.order if not rule.first)
    return (key not in instance.begun, *first, *last)


def _places(instance: Instance, placings: Sequence[Placing], key: Key, option: Assignment) -> list[int]:
    """Every place of the list from 1 on: what the fixed order suggests first, then the later before the earlier."""
    here, own = [p for p in placings if p.session == option.session], usual_rank(instance, key)
    usual = 1 + sum(usual_rank(instance, p.case) <= own for p in here)
    return [usual, *(place for place in range(len(here) + 1, 0, -1) if place != usual)]


def _inserted(placings: Iterable[Placing], key: Key, option: Assignment, place: int) -> tuple[Placing, ...]:
    moved = (replace(p, place=p.place + 1) if p.session == option.session and p.place >= place else p for p in placings)
    return (*moved, option.placing(key, place))


def taken_off(lists: Lists, key: Key) -> Lists:
    """Without a case; those behind it move up."""
    return replace(lists, placings=counted(placing for placing in lists.placings if placing.case != key))


def put(lists: Lists, key: Key, option: Assignment, place: int | None = None) -> Lists:
    """With a case where the option says, at a place from 1 on (None: last, or its own where only its people change)."""
    was = next((placing for placing in lists.placings if placing.case == key), None)
    if place is None and was is not None and was.session == option.session:
        place = was.place
    others = taken_off(lists, key).placings
    return replace(lists, placings=counted(_inserted(others, key, option, place or len(others) + 1)))


def moved(lists: Lists, key: Key, by: int) -> Lists:
    """A case so many places later (earlier below 0) on its list, as far as the list goes."""
    own = next(placing for placing in lists.placings if placing.case == key)
    count = sum(placing.session == own.session for placing in lists.placings)
    return put(lists, key, Assignment.of(own), min(max(1, own.place + by), count))


def counted(placings: Iterable[Placing]) -> tuple[Placing, ...]:
    """Each list counted from 1 without a gap, its order kept."""
    by_session = groupby(sorted(placings), lambda placing: placing.session)
    return tuple(replace(placing, place=n) for _, of in by_session for n, placing in enumerate(of, 1))
