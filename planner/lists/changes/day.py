"""One day's lists as the repair tries them: where each case may go, in which order, and what is then broken.

The checker judges every try. A rule that the begun and the locked cases break by themselves cannot be mended, and is
not counted; where it is the whole list's (its minutes), every other case in it still makes it worse.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

from planner.lists.changes.disrupted_week import DisruptedWeek
from planner.lists.changes.repair_cost import RepairCost, is_pressing, of_moving
from planner.lists.matching.insertion import Assignment, options
from planner.lists.matching.objective import worth_of
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key, Lists, Placing
from planner.lists.week.week import Week

Chosen = dict[Key, Assignment | None]  # None: it comes off
ORDERS = 400  # orders of one list that are tried


@dataclass(frozen=True)
class DayTried:
    """Lists of the day with what they newly break, and how many cases are in another order."""

    placings: tuple[Placing, ...]
    broken: tuple[Broken, ...]
    reordered: int


class RepairDay:
    """`fixed` cases keep session and people. `whole` turns false once not every order of a list could be tried."""

    def __init__(self, after: DisruptedWeek, fixed: frozenset[Key]) -> None:
        self.after, self.instance = after, after.instance
        self.whole, self.work = True, 0
        self.sessions = [s for s in self.instance.sessions.values() if s.day in after.days and s.id not in after.lost]
        self.here = {session.id for session in self.sessions}
        of_day = [p for p in after.lists.placings if self.instance.sessions[p.session].day in after.days]
        self.was = {placing.case: placing for placing in of_day}
        stays = fixed - after.begun
        self.fixed = tuple(p for p in of_day if p.case in after.begun or (p.case in stays and p.session in self.here))
        self.fixed_cases = frozenset(placing.case for placing in self.fixed)
        self.free = tuple(dict.fromkeys(key for key in (*self.was, *after.added) if key not in self.fixed_cases))
        self.pressing = frozenset(
            key for key in self.instance.cases if is_pressing(self.instance, key, key in after.added)
        )
        self._near = self._nearby()
        self.unmendable = tuple(RULES.broken(Week(self.instance, self._lists(self.fixed))))
        self._known = {self._what(one) for one in self.unmendable}
        self._may: dict[Key, dict[Assignment, RepairCost]] = {}
        self._orders: dict[tuple[tuple[Placing, ...], tuple[Placing, ...]], tuple[tuple[Placing, ...], int] | None] = {}

    @cached_property
    def begins(self) -> dict[Key, Assignment | None]:
        """Every case where it was; without a place, those added and those whose session is lost or no longer meant."""
        return {key: Assignment.of(self.was[key]) if self._may_stay(key) else None for key in self.free}

    def _may_stay(self, key: Key) -> bool:
        meant = self.after.added[key].session if key in self.after.added else None
        return key in self.was and self.was[key].session in self.here and meant in (None, self.was[key].session)

    def may(self, key: Key) -> dict[Assignment, RepairCost]:
        """Where a case may stand at all beside what is fixed, with what it costs: the least first, then most worth."""
        if key not in self._may:
            by_cost = [(self.cost(key, option), option) for option in self._options(key) if self._allowed(key, option)]
            worth = {option: worth_of(self.instance, option.placing(key)) for _, option in by_cost}
            by_cost.sort(key=lambda each: (each[0], -worth[each[1]]))
            self._may[key] = {option: cost for cost, option in by_cost}
        return self._may[key]

    def cost(self, key: Key, option: Assignment | None) -> RepairCost:
        if option is None:
            return RepairCost(pressing_off=int(key in self.pressing), off=1)
        return of_moving(self.was.get(key), option.placing(key))

    def tried(self, chosen: Chosen) -> DayTried:
        """Each case where it was chosen to be, in the order that moves the fewest past others."""
        self.work += 1
        placings, reordered = self._laid(chosen), 0
        broken = self._new(self._lists(placings))
        if not broken or {one.rule for one in broken} - RULES.of_order:
            return DayTried(placings, broken, 0)
        for session in dict.fromkeys(one.session for one in broken):
            here = tuple(p for p in placings if p.session == session)
            others = tuple(p for p in placings if p.session != session)
            if (in_order := self._order_of(session, here, others)) is not None:
                placings, reordered = tuple(sorted((*others, *in_order[0]))), reordered + in_order[1]
        return DayTried(placings, self._new(self._lists(placings)), reordered)

    def lists(self, placings: tuple[Placing, ...]) -> Lists:
        """The whole lists with these of the day."""
        now = {placing.case for placing in placings}
        others = [
            p for p in self.after.lists.placings
            if self.instance.sessions[p.session].day not in self.after.days and p.case not in now
        ]  # fmt: skip
        return replace(self.after.lists, placings=(*others, *placings))

    def _options(self, key: Key) -> Iterator[Assignment]:
        added = self.after.added.get(key)
        return options(
            self.instance,
            (s for s in self.sessions if added is None or (s.day == added.day and added.session in (None, s.id))),
        )

    def _allowed(self, key: Key, option: Assignment) -> bool:
        own = option.placing(key, 1 + len(self.fixed))
        alone = RULES.broken(Week(self.instance, replace(self.after.lists, placings=(own,))), RULES.of_order)
        others = {*RULES.ids} - RULES.of_order
        return not any(alone) and not self._new(self._lists((*self.fixed, own)), others)

    def _nearby(self) -> tuple[Placing, ...]:
        """What other days hold of the same patients, and the lists of the days before and after."""
        cases, sessions = self.instance.cases, self.instance.sessions
        patients = {cases[key].patient for key in self.free} | {cases[p.case].patient for p in self.fixed}
        patients.discard(None)
        days = self.after.days
        return tuple(
            placing
            for placing in self.after.lists.placings
            if sessions[placing.session].day not in days and placing.case not in self.after.added
            and (cases[placing.case].patient in patients
                 or any(abs((sessions[placing.session].day - day).days) == 1 for day in days))
        )  # fmt: skip

    def _lists(self, placings: Iterable[Placing]) -> Lists:
        return replace(self.after.lists, placings=(*self._near, *placings))

    def _new(self, lists: Lists, rules: Container[str] | None = None) -> tuple[Broken, ...]:
        return tuple(
            one for one in RULES.broken(Week(self.instance, lists), rules) if self._what(one) not in self._known
        )

    def _what(self, one: Broken) -> tuple[str, str, str]:
        # Of a whole list what it says counts too: one more case that makes it worse says it with other numbers.
        return one.rule, one.session, one.says if one.case is None else one.case

    def _laid(self, chosen: Chosen) -> tuple[Placing, ...]:
        """Who was there in the old order, who comes behind them."""
        rows: dict[str, list[tuple[int, int, Placing]]] = {}
        for placing in self.fixed:
            rows.setdefault(placing.session, []).append((0, placing.place, placing))
        for n, (key, option) in enumerate(chosen.items()):
            if option is not None:
                stayed = key in self.was and self.was[key].session == option.session
                rank = (0, self.was[key].place) if stayed else (1, n)
                rows.setdefault(option.session, []).append((*rank, option.placing(key)))
        return tuple(
            replace(placing, place=place)
            for session in sorted(rows)
            for place, (_, _, placing) in enumerate(sorted(rows[session]), 1)
        )

    def _order_of(
        self, session: str, here: tuple[Placing, ...], others: tuple[Placing, ...]
    ) -> tuple[tuple[Placing, ...], int] | None:
        """An order of a list that breaks no rule of order, and how many it moves past others; None where none is."""
        theatre = self.instance.sessions[session].theatre
        before_and_after = tuple(p for p in others if self.instance.sessions[p.session].theatre == theatre)
        if (here, before_and_after) not in self._orders:
            self._orders[here, before_and_after] = None
            for n, (order, moved) in enumerate(self._ways(session, here)):
                if n >= ORDERS:
                    self.whole = False
                    break
                tried = tuple(replace(placing, place=place) for place, placing in enumerate(order, 1))
                self.work += n % 4 == 0  # of a check of every rule
                if not self._new(self._lists((*others, *tried)), RULES.of_order):
                    self._orders[here, before_and_after] = tried, moved
                    break
        return self._orders[here, before_and_after]

    def _ways(self, session: str, here: tuple[Placing, ...]) -> Iterator[tuple[tuple[Placing, ...], int]]:
        """Every order behind what is begun, those first in which the fewest cases pass others."""
        begun = tuple(p for p in here if p.case in self.instance.begun)
        stayed = [p for p in here if p not in begun and p.case in self.was and self.was[p.case].session == session]
        come = [p for p in here if p not in begun and p not in stayed]
        seen: set[tuple[Placing, ...]] = set()
        for moved in range(max(1, len(stayed))):
            for loose in combinations(reversed(stayed), moved):
                rest = tuple(p for p in stayed if p not in loose)
                for order in _inserted(rest, (*reversed(loose), *come)):
                    if order not in seen:
                        seen.add(order)
                        yield (*begun, *order), moved


def _inserted(order: tuple[Placing, ...], more: tuple[Placing, ...]) -> Iterator[tuple[Placing, ...]]:
    """These put in at every place, later places first."""
    if not more:
        yield order
        return
    for place in range(len(order), -1, -1):
        yield from _inserted((*order[:place], more[0], *order[place:]), more[1:])
