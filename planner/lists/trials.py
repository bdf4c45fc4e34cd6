"""Trying a case in a place: what a list would break with it there. The checker judges; nothing here knows a rule."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from planner.lists.checker import broken_rules
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.week import Broken, Week

# What these rules say depends on where in the list a case stands; for every other, any place of the list is as good.
_OF_PLACE = {"kit-sets", "begun-first", "fixed-order"}


@dataclass(frozen=True)
class Option:
    """A session with who operates (None: the supervisor, a consultant) and who supervises."""

    session: str
    trainee: str | None
    supervisor: str

    @classmethod
    def of(cls, placing: Placing) -> Option:
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


def options(instance: Instance) -> Iterator[Option]:
    """Every session with every pair of a trainee, or none, and a supervisor who is on it."""
    for session in instance.sessions.values():
        for trainee in (*instance.trainees, None):
            for supervisor in session.supervisors:
                yield Option(session.id, trainee, supervisor)


def alone(instance: Instance, lists: Lists, key: Key, option: Option) -> bool:
    """Whether the case may stand there on an otherwise empty list; where it may not, no other case can help."""
    only = replace(lists, placings=(option.placing(key),))
    return not any(True for _ in broken_rules(Week(instance, only)))


def attempt(instance: Instance, lists: Lists, key: Key, option: Option) -> Trial:
    """The case put into lists, at the place in the list that breaks fewest rules.

    Judged are that list and the others of the day with the same people, which is all that the case can touch.
    """
    touched: list[Placing] = []
    others: list[Placing] = []
    for placing in lists.placings:
        (touched if _touches(instance, placing, option) else others).append(placing)
    best: Trial | None = None
    for place in _places(instance, touched, key, option):
        placings = _inserted(touched, key, option, place)
        broken = tuple(broken_rules(Week(instance, replace(lists, placings=placings))))
        tried = Trial(replace(lists, placings=placings), placings[-1], broken)
        if best is None or len(tried.rules) < len(best.rules):
            best = tried
        if not best.rules & _OF_PLACE:
            break
    assert best is not None
    return replace(best, lists=replace(lists, placings=(*others, *best.lists.placings)))


def _touches(instance: Instance, placing: Placing, option: Option) -> bool:
    if instance.sessions[placing.session].day != instance.sessions[option.session].day:
        return False
    same_trainee = option.trainee is not None and placing.trainee == option.trainee
    return placing.session == option.session or placing.supervisor == option.supervisor or same_trainee


def _places(instance: Instance, placings: Sequence[Placing], key: Key, option: Option) -> list[int]:
    """Every place of the list from 1 on: what the fixed order suggests first, then the later before the earlier."""
    here = sorted(p for p in placings if p.session == option.session)

    def fixed(which: Key, first: bool) -> bool:
        return any(instance.cases[which].order[rule.id] is True for rule in instance.order if rule.first is first)

    before = sum(fixed(p.case, True) for p in here)
    after = sum(fixed(p.case, False) and not fixed(p.case, True) for p in here)
    usual = before + 1 if fixed(key, True) else len(here) + 1 - (0 if fixed(key, False) else after)
    return [usual, *(place for place in range(len(here) + 1, 0, -1) if place != usual)]


def _inserted(placings: Sequence[Placing], key: Key, option: Option, place: int) -> tuple[Placing, ...]:
    moved = (replace(p, place=p.place + 1) if p.session == option.session and p.place >= place else p for p in placings)
    return (*moved, option.placing(key, place))
