"""The smallest change of a day's lists after which they stand: a good one quickly, then a search for one that is less.

A search for the least cost (A*). A rule that is broken is mended only by changing a case that it is about, so one of
these is decided at a time: it stays, has other people, goes to another session, or comes off. What a change must cost
at the very least decides which is looked at next, so that the first that stands is the smallest there is.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, count

from planner.lists.changes.day import Chosen, DayTried, RepairDay
from planner.lists.changes.postponement import LaterPlaces
from planner.lists.changes.repair_bound import Decisions, RepairBound
from planner.lists.changes.repair_cost import NOTHING, RepairCost
from planner.lists.matching.insertion import Assignment
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key, Placing

WORK = 2500  # lists judged before the search is content with what it has
TRIES = 3  # later places tried, for the work of judging a day's lists
WAYS = 40_000  # changes begun and not yet looked at


@dataclass(frozen=True)
class RepairFound:
    """Where each case is, the day's lists with it, what that costs, and whether no smaller change exists."""

    chosen: Chosen
    placings: tuple[Placing, ...]
    measure: RepairCost
    proved: bool


def mended(today: RepairDay, later: LaterPlaces, work: int = WORK) -> RepairFound:
    """The smallest change, within the work allowed; the same input gives the same answer."""
    search = _RepairSearch(today, later, work)
    return search.preferred(search.least(search.undone(search.put_back(search.shed()))))


class _RepairSearch:
    def __init__(self, today: RepairDay, later: LaterPlaces, work: int) -> None:
        self.today, self.later, self.work = today, later, work
        self.room = RepairBound(today)
        self._begun = self._spent()

    def shed(self) -> Chosen:
        """Cases taken off until the rest stand: the least pressing first, of these the last on its list."""
        chosen = dict(self.today.begins)
        while broken := self.today.tried(chosen).broken:
            key = self._next(chosen, broken[:1], frozenset(key for key, option in chosen.items() if option is None))
            if key is None:
                break
            chosen[key] = None
        return chosen

    def put_back(self, chosen: Chosen) -> Chosen:
        """Each case that is off in the first place where the lists still stand, pressing cases first.

        Where none does, in one where they stand once the others there are operated on by whoever is quickest.
        """
        off = [key for key, option in chosen.items() if option is None]
        for key in sorted(off, key=lambda key: (key not in self.today.pressing, self._place(key))):
            ways = [chosen | {key: option} for option in self.today.may(key)]
            ways += [self._quickest(chosen, option.session) | {key: option} for option in self.today.may(key)]
            chosen = next((other for other in ways if not self.today.tried(other).broken), chosen)
        return chosen

    def _quickest(self, chosen: Chosen, session: str) -> Chosen:
        """The same with the shortest operation for every case of a session."""
        here = [key for key, at in chosen.items() if at in self._of_session(key, session)]
        return chosen | {key: self.room.quickest(key, session) for key in here}

    def undone(self, chosen: Chosen) -> Chosen:
        """Without every change, single or with one other, that can be undone with every rule kept."""
        undoing = True
        while undoing:
            undoing = False
            before = {key: self.today.begins[key] for key in chosen}
            changed = [key for key in chosen if before[key] is not None and chosen[key] != before[key]]
            for keys in (*combinations(changed, 1), *combinations(changed, 2)):
                other = chosen | {key: before[key] for key in keys}
                if not self.today.tried(other).broken:
                    chosen, undoing = other, True
                    break
        return chosen

    def least(self, good: Chosen) -> RepairFound:
        """The change of least cost, or where the work ended, the least that was met."""
        best = self._as_found(good, self.today.tried(good))
        numbers = count()
        ways: list[tuple[RepairCost, int, int, Decisions, DayTried | None, RepairCost]] = []

        def push(decided: Decisions, lost: RepairCost, tried: DayTried | None = None) -> None:
            more = self.room.at_least(decided)
            if more is not None:
                bound = lost.plus(more)
                for key, where in decided.items():
                    bound = bound.plus(self._cost(key, where))
                if bound < best.measure:
                    # Of two as small, the one in which more is decided; a session alone is half a decision.
                    depth = sum(1 if isinstance(where, str) else 2 for where in decided.values())
                    heapq.heappush(ways, (bound, -depth, next(numbers), decided, tried, lost))

        push({}, NOTHING)
        while ways:
            bound, _, number, decided, tried, lost = heapq.heappop(ways)
            if bound >= best.measure:
                break
            if self._spent() - self._begun >= self.work or number >= WAYS:
                return best
            chosen = self._chosen(decided)
            lost_now = self._lost({key: None for key, where in decided.items() if where is None})
            if lost_now != lost:
                push(decided, lost_now, tried)
                continue
            tried = tried or self.today.tried(chosen)
            waiting = [key for key in self.today.free if key not in decided and chosen[key] is None]
            if not tried.broken and not waiting:
                best = min(best, self._as_found(chosen, tried), key=lambda one: one.measure)
                continue
            decided_now = frozenset(key for key, where in decided.items() if not isinstance(where, str))
            key = waiting[0] if waiting else self._next(chosen, tried.broken, decided_now)
            if key is not None:
                for where in self._ways(key, decided, chosen):
                    other = {**decided, key: where}
                    push(other, lost, tried if self._chosen(other) == chosen and not waiting else None)
        return RepairFound(best.chosen, best.placings, best.measure, self.today.whole)

    def preferred(self, change: RepairFound) -> RepairFound:
        """Of changes as small, the people whom the unit's wishes like best, as far as one case at a time shows it."""
        for key in self.today.free:
            at = change.chosen[key]
            for option in self._of_session(key, at.session) if at is not None and at != self.today.begins[key] else ():
                if self.today.cost(key, option) == self.today.cost(key, at):
                    if option == at:
                        break
                    tried = self.today.tried({**change.chosen, key: option})
                    if not tried.broken and tried.reordered == change.measure.order:
                        change = replace(change, chosen={**change.chosen, key: option}, placings=tried.placings)
                        break
        return change

    def _chosen(self, decided: Decisions) -> Chosen:
        """Every case where it is decided to be; where the people are not as yet, with those that cost least."""
        chosen = dict(self.today.begins)
        for key, where in decided.items():
            chosen[key] = self._of_session(key, where)[0] if isinstance(where, str) else where
        return chosen

    def _ways(self, key: Key, decided: Decisions, chosen: Chosen) -> Iterator[Assignment | str | None]:
        """What may be decided of a case next: where it is before with whom, if it cannot simply stay."""
        at = decided.get(key)
        if isinstance(at, str):
            yield from self.room.worth_trying(key, at)
            return
        own = chosen[key]
        stays = own is not None and bool(self._of_session(key, own.session))
        if own is not None and stays:
            if self.room.must_leave(own.session, decided):
                yield own.session
            else:
                yield from self.room.worth_trying(key, own.session)
        for session in self.today.sessions:
            if (own is None or session.id != own.session) and self._of_session(key, session.id):
                yield session.id
        yield None

    def _of_session(self, key: Key, session: str) -> list[Assignment]:
        return [option for option in self.today.may(key) if option.session == session]

    def _cost(self, key: Key, where: Assignment | str | None) -> RepairCost:
        """What a decision costs; where only the session is decided, without people."""
        if isinstance(where, str):
            return self.today.cost(key, self._of_session(key, where)[0])._replace(people=0)
        return self.today.cost(key, where)

    def _spent(self) -> int:
        return self.today.work + self.later.work // TRIES

    def _as_found(self, chosen: Chosen, tried: DayTried) -> RepairFound:
        cost = self._lost(chosen)._replace(order=tried.reordered)
        for key, option in chosen.items():
            cost = cost.plus(self.today.cost(key, option))
        return RepairFound(chosen, tried.placings, cost, False)

    def _lost(self, chosen: Chosen) -> RepairCost:
        off = [key for key, option in chosen.items() if option is None]
        pressing, every = self.later.missing(off) if off else (0, 0)
        return RepairCost(pressing_lost=pressing, lost=every)

    def _next(self, chosen: Chosen, broken: tuple[Broken, ...], decided: frozenset[Key]) -> Key | None:
        """The case to decide next; None where no case that is not decided could mend what is broken."""
        best: dict[Key, int] = {}
        for one in broken:
            concerned = self._concerned(chosen, one, decided)
            if not concerned and one.rule not in RULES.of_order:
                return None
            if concerned and (not best or len(concerned) < len(best)):
                best = concerned
        best = best or {key: 0 for key in self.today.free if key not in decided}
        pressing = self.today.pressing
        return min(best, key=lambda key: (best[key], key in pressing, -self._place(key), key), default=None)

    def _concerned(self, chosen: Chosen, broken: Broken, decided: frozenset[Key]) -> dict[Key, int]:
        """The cases, not decided as yet, one of which must change for the rule to be kept; 0 for the likeliest."""
        placed = {key: option for key, option in chosen.items() if option is not None and key not in decided}
        cases, sessions = self.today.instance.cases, self.today.instance.sessions
        scope = RULES[broken.rule].scope
        own = next((key for key in broken.cases[:1] if key in chosen or key in self.today.fixed_cases), None)
        if own in placed and placed[own] not in self.today.may(own):
            return {own: 0}
        if scope == "list" or broken.rule in RULES.of_order:
            return {key: int(key != own) for key, option in placed.items() if option.session == broken.session}
        if scope in ("supervisor", "trainee") and own is not None:
            at = chosen[own] if own in chosen else next(Assignment.of(p) for p in self.today.fixed if p.case == own)
            who = getattr(at, scope)
            return {
                key: 0 for key, option in placed.items()
                if getattr(option, scope) == who
                and sessions[option.session].meets(sessions[broken.session])
            }  # fmt: skip

        def likely(key: Key, option: Assignment) -> int:
            same = own is not None and cases[key].patient is not None and cases[key].patient == cases[own].patient
            return 0 if key == own or same else 1 if option.session == broken.session else 2

        return {key: likely(key, option) for key, option in placed.items()}

    def _place(self, key: Key) -> int:
        return self.today.was[key].place if key in self.today.was else 0
