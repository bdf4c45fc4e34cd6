"""The morning of: the smallest change after which the lists stand again. A proposal; the people in theatre decide.

Smallest means, in this order: fewest pressing cases off, fewest cases off, fewest in another session, fewest people
changed, fewest in another place. A search for the least cost (A*): a broken rule is mended only by changing one of the
cases that it is about, so only these are tried; the checker judges every try.
"""

from __future__ import annotations

import datetime
import heapq
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count

from planner.lists.changed import Change, changes
from planner.lists.checker import Verdict, broken_rules, check
from planner.lists.happened import Aftermath, Happened, aftermath
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.moves import counted, put, taken_off
from planner.lists.trials import Option, attempt
from planner.lists.week import Broken, Week
from planner.lists.worth import of_placing, ranked

WORK = 4000  # lists judged before the search is content with what it has
Cost = tuple[int, int, int, int, int]  # pressing off, off, other session, people changed, other place
OFF, SESSION, PEOPLE, PLACE = (0, 1, 0, 0, 0), (0, 0, 1, 0, 0), (0, 0, 0, 1, 0), (0, 0, 0, 0, 1)
_OF_ITS_CASE = {
    "consent", "agreement", "settled", "supervisor-fits", "trainee-has-a-step", "anaesthetist", "deadline",
    "patient-can-come",
}  # fmt: skip
_OF_PLACE = {"kit-sets", "begun-first", "fixed-order"}


@dataclass(frozen=True)
class Repaired:
    """`broken` is what no longer stood; `lists` stand again, unless what is begun or locked forbids it.

    `off` are cases that come off with why, and for each a later place that keeps every rule, where there is one.
    `proved` says that no smaller change exists; else none was found in the work allowed.
    """

    instance: Instance
    lists: Lists
    broken: tuple[Broken, ...]
    changes: tuple[Change, ...]
    off: tuple[tuple[Key, str, Placing | None], ...]
    verdict: Verdict
    proved: bool


@dataclass(frozen=True)
class _State:
    lists: Lists
    waiting: tuple[Key, ...]  # without a place as yet
    changed: frozenset[Key]
    cost: Cost


def repair(
    instance: Instance, lists: Lists, happened: Happened, locked: frozenset[Key] = frozenset(), work: int = WORK
) -> Repaired:
    """Mend lists after what happened. Only lists of the days concerned change; same input, same answer."""
    after = aftermath(instance, happened)
    kept = tuple(p for p in lists.placings if p.case not in after.cancelled)
    placed = {placing.case for placing in kept}
    of_cancelled = [placing for placing in lists.placings if placing.case in after.cancelled]
    days = after.days | {after.instance.sessions[placing.session].day for placing in of_cancelled}
    stranded = tuple(p.case for p in kept if p.session in after.lost and p.case not in after.begun)
    begins = Lists(counted(p for p in kept if p.case not in stranded), lists.both_eyes_agreed)
    waiting = (*(key for key in after.added if key not in placed), *stranded)
    broken = tuple(broken_rules(Week(after.instance, replace(lists, placings=kept))))
    search = _Search(after, lists, days, after.begun | locked, work)
    found = search.least(_State(begins, waiting, frozenset(), (0, 0, 0, 0, 0)))
    before = replace(lists, placings=kept)
    came_off = [
        key for key in (*(p.case for p in kept), *waiting) if not any(p.case == key for p in found.lists.placings)
    ]
    told = [(key, because) for key, because in after.cancelled.items()]
    told += [(key, "") for key in dict.fromkeys(came_off)]
    return Repaired(
        after.instance, found.lists, broken, changes(before, found.lists),
        tuple((key, because, _later(after.instance, found.lists, key, days)) for key, because in told),
        check(after.instance, found.lists), search.proved,
    )  # fmt: skip


def _later(instance: Instance, lists: Lists, key: Key, days: frozenset[datetime.date]) -> Placing | None:
    """The best later place of a case that came off."""
    last = max(days, default=None)
    options = [
        Option(session.id, trainee, supervisor)
        for session in instance.sessions.values()
        if last is None or session.day > last
        for trainee in (*instance.trainees, None)
        for supervisor in session.supervisors
    ]
    for _, option, _ in ranked(instance, lists, key, options):
        trial = attempt(instance, lists, key, option)
        if not trial.broken:
            return trial.placing
    return None


class _Search:
    def __init__(
        self, after: Aftermath, original: Lists, days: frozenset[datetime.date], fixed: frozenset[Key], work: int
    ) -> None:
        self.after, self.instance, self.fixed, self.work = after, after.instance, fixed, work
        self.was = {placing.case: placing for placing in original.placings}
        self.sessions = [s for s in self.instance.sessions.values() if s.day in days and s.id not in after.lost]
        self.here = {session.id for session in self.sessions}
        self.proved = True

    def least(self, start: _State) -> _State:
        """The state of least cost in which nothing is broken, or the best that was met."""
        best = self._greedily(start)
        ways, numbers = [(self._at_least(start, self._broken(start)), 0, 0.0, 0, start)], count(1)
        seen: set[tuple[frozenset[Placing], tuple[Key, ...]]] = set()
        while ways:
            bound, _, _, _, state = heapq.heappop(ways)
            if best is not None and bound >= best.cost:
                return best
            key = frozenset(state.lists.placings), state.waiting
            if key in seen:
                continue
            seen.add(key)
            broken = self._broken(state)
            if not broken and not state.waiting:
                return state
            if any(one.rule in _OF_PLACE for one in broken):
                self.proved = False  # not every order of a list is tried
            if self.work <= 0:
                self.proved = False
                break
            for child in self._children(state, broken):
                left = self._broken(child)
                stuck = any(one.rule in _OF_ITS_CASE and self._key(one) in child.changed for one in left)
                if not stuck:
                    worth = -sum(sum(of_placing(self.instance, p).values()) for p in child.lists.placings)
                    bound = self._at_least(child, left)
                    heapq.heappush(ways, (bound, len(left) + len(child.waiting), worth, next(numbers), child))
        self.proved = False
        return best if best is not None else start

    def _broken(self, state: _State) -> tuple[Broken, ...]:
        self.work -= 1
        here = tuple(placing for placing in state.lists.placings if placing.session in self.here)
        return tuple(broken_rules(Week(self.instance, replace(state.lists, placings=here))))

    def _at_least(self, state: _State, broken: tuple[Broken, ...]) -> Cost:
        """What the state costs, and what its waiting and its broken cases will at the very least."""
        cost = state.cost
        for key in state.waiting:
            if key in self.was:
                cost = _sum(cost, SESSION)
        bad = {self._key(one) for one in broken if one.rule in _OF_ITS_CASE} - state.changed
        for _ in bad:
            cost = _sum(cost, PEOPLE)
        return cost

    def _key(self, broken: Broken) -> Key | None:
        return next((key for key, case in self.instance.cases.items() if case.told == broken.case), None)

    def _children(self, state: _State, broken: tuple[Broken, ...]) -> Iterator[_State]:
        if state.waiting:
            yield from self._placed(state, state.waiting[0])
            return
        for placing in self._concerned(state, broken[0]):
            if placing.case not in self.fixed and placing.case not in state.changed:
                yield from self._changed(state, placing, broken[0].rule)

    def _concerned(self, state: _State, broken: Broken) -> list[Placing]:
        """The placings one of which must change for the rule to be kept."""
        placings = [placing for placing in state.lists.placings if placing.session in self.here]
        own = next((p for p in placings if self.instance.cases[p.case].told == broken.case), None)
        if broken.rule in _OF_ITS_CASE and own is not None:
            return [own]
        session = self.instance.sessions[broken.session]
        together = [p for p in placings if self.instance.sessions[p.session].meets(session)]
        if broken.rule == "supervisor-is-free":
            return [p for p in together if own is None or p.supervisor == own.supervisor]
        if broken.rule == "trainee-is-free" and own is not None:
            return [p for p in together if p.trainee == own.trainee]
        return [p for p in placings if p.session == broken.session]

    def _options(self, key: Key) -> Iterator[Option]:
        added = self.after.added.get(key)
        for session in self.sessions:
            if added is None or (session.day == added.day and added.session in (None, session.id)):
                for trainee in (*self.instance.trainees, None):
                    for supervisor in session.supervisors:
                        yield Option(session.id, trainee, supervisor)

    def _placed(self, state: _State, key: Key) -> Iterator[_State]:
        """A waiting case in each place that it may have, or nowhere."""
        waiting, cost = state.waiting[1:], state.cost
        for option in self._options(key):
            trial = attempt(self.instance, state.lists, key, option)
            self.work -= 1
            if not any(one.rule in _OF_ITS_CASE and self._key(one) == key for one in trial.broken):
                spent = _sum(cost, SESSION) if key in self.was else cost
                yield _State(trial.lists, waiting, state.changed | {key}, spent)
        yield replace(state, waiting=waiting, cost=_sum(cost, self._off(key)))

    def _changed(self, state: _State, placing: Placing, rule: str) -> Iterator[_State]:
        """A placed case with other people, in another place or session, or off: what can mend that rule."""
        key, changed = placing.case, state.changed | {placing.case}
        own = Option.of(placing)
        for option in self._options(key):
            if option.session != placing.session:
                trial = attempt(self.instance, taken_off(state.lists, key), key, option)
                yield _State(trial.lists, (), changed, _sum(state.cost, SESSION))
            elif option != own and self._people_mend(rule, placing, option):
                cost = state.cost
                for was, now in ((placing.trainee, option.trainee), (placing.supervisor, option.supervisor)):
                    cost = _sum(cost, PEOPLE) if was != now else cost
                yield _State(put(state.lists, key, option), (), changed, cost)
        if rule in _OF_PLACE:
            for place in range(1, sum(p.session == placing.session for p in state.lists.placings) + 1):
                if place != placing.place:
                    yield _State(put(state.lists, key, own, place), (), changed, _sum(state.cost, PLACE))
        yield self._without(state, key)

    def _people_mend(self, rule: str, placing: Placing, option: Option) -> bool:
        if rule == "overrun":
            week = Week(self.instance, Lists(()))
            other = replace(placing, trainee=option.trainee, supervisor=option.supervisor)
            return week.time(other) != week.time(placing)
        return rule not in (*_OF_PLACE, "one-eye-a-list")

    def _without(self, state: _State, key: Key) -> _State:
        cost = _sum(state.cost, self._off(key))
        return _State(taken_off(state.lists, key), (), state.changed | {key}, cost)

    def _off(self, key: Key) -> Cost:
        case = self.instance.cases[key]
        pressing = case.urgency == "urgent" or case.last_day is not None or key in self.after.added
        return _sum(OFF, (1, 0, 0, 0, 0)) if pressing else OFF

    def _greedily(self, start: _State) -> _State | None:
        """Mended one broken rule after another, each by what leaves fewest; where nothing can, a case comes off."""
        state = start
        while True:
            broken = self._broken(state)
            if not broken and not state.waiting:
                return state
            scored: list[tuple[int, int, Cost, int, _State]] = []
            for child in self._children(state, broken):
                left = self._broken(child)
                if not any(one.rule in _OF_ITS_CASE and self._key(one) in child.changed for one in left):
                    open_ends = len(left) + len(child.waiting)
                    scored.append((child.cost[0], open_ends, child.cost, len(scored), child))
            if scored:
                state = min(scored)[4]
                continue
            loose = [p.case for p in self._concerned(state, broken[0]) if p.case not in self.fixed] if broken else []
            if not loose:
                return None
            state = self._without(state, min(loose, key=lambda key: (self._off(key), key)))


def _sum(one: Cost, other: Cost) -> Cost:
    return tuple(a + b for a, b in zip(one, other, strict=True))  # type: ignore[return-value]
