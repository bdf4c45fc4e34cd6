"""The best lists there are, or how far from them: OR-Tools CP-SAT on the model, each answer judged by the checker.

One worker, a fixed seed and a limit in deterministic time, so that the same input gives the same lists.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import permutations
from typing import TYPE_CHECKING

from planner.errors import PlannerError
from planner.lists.checker import broken_rules
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.match import Matched, Reason, match, matched, possibilities, pressing
from planner.lists.trials import Option, attempt
from planner.lists.week import Week
from planner.lists.worth import of_lists, ranked

if TYPE_CHECKING:
    from planner.lists.model import Model, Solved

LONGEST_ORDERED = 8  # cases of a session whose every order is tried
IMPROVING = 0.5  # share of the effort spent on a few sessions at a time
FREE = 4  # sessions
EACH = 1.0  # unit of effort at most
_OF_ORDER = ("kit-sets", "fixed-order")


@dataclass(frozen=True)
class Best:
    """Matched lists, and what no lists can be worth more than; `proved` where none are worth more."""

    matched: Matched
    bound: float
    proved: bool


def best(
    instance: Instance,
    kept: Lists | None = None,
    effort: float = 20.0,
    told: Callable[[float, float], object] = lambda worth, bound: None,
) -> Best:
    """Search from the greedy lists on for `effort` units of the solver's own time, about seconds each.

    `told` hears the worth so far and the bound (infinite until there is one) when the search starts and at each change.
    An interrupt ends the search; what was found by then is kept.
    Raises PlannerError where the solver is not installed.
    """
    try:
        from planner.lists.model import Model
    except ImportError:
        hint = "pip install 'cataract-case-planner[lists]', or leave out --best"
        raise PlannerError.one(
            "the solver is not installed", why="it comes with the extra `lists`", hint=hint
        ) from None
    kept = kept or Lists(())
    search = _Search(instance, kept, Model(instance, possibilities(instance, kept), kept), match(instance, kept).lists)
    search.told = told
    with contextlib.suppress(KeyboardInterrupt):
        told(search.worth, search.bound)
        search.improve(effort * IMPROVING)
        search.whole(effort - search.took)
    reasons = {placing.case: _reason(instance, kept, search.found, placing) for placing in search.found.placings}
    whole = matched(instance, search.found, {key: reason for key, reason in reasons.items() if reason is not None})
    # The solver counts in thousandths of a point.
    proved = search.bound <= whole.worth + 0.001 * max(1, len(whole.lists.placings))
    return Best(whole, max(search.bound, whole.worth), proved)


class _Search:
    """The best lists found so far, and what the solver has said that none can pass."""

    def __init__(self, instance: Instance, kept: Lists, model: Model, found: Lists) -> None:
        self.instance, self.kept, self.model, self.found = instance, kept, model, found
        self.told: Callable[[float, float], object] = lambda worth, bound: None
        self.worth, self.bound, self.took, self.exact = of_lists(instance, found), float("inf"), 0.0, True

    def improve(self, effort: float) -> None:
        """Free a few sessions at a time, neighbours first and then spread ones, until a whole round gains nothing."""
        sessions = list(self.instance.sessions)
        if len(sessions) <= FREE:
            return
        apart, gained = 1, True
        while gained and self.took < effort:
            gained = False
            for start in range(0, len(sessions), FREE // 2):
                free = {sessions[(start + n * apart) % len(sessions)] for n in range(FREE)}
                if self.took < effort:
                    before = self.worth
                    self._take(self.model.solve(self.found, min(EACH, effort - self.took), free))
                    gained = gained or self.worth > before
            apart = 4 - apart

    def whole(self, effort: float) -> None:
        """Search all sessions at once, for a bound; lists that no order lets stand are forbidden and searched past."""
        end = self.took + effort
        while self.took < end:
            solved = self.model.solve(self.found, end - self.took)
            if self.exact:
                self.bound = min(self.bound, solved.bound)
                self.told(self.worth, self.bound)
            if self._take(solved):
                return

    def _take(self, solved: Solved) -> bool:
        """Take what was found where it is worth more; forbid lists that no order lets stand, and say if all had one."""
        self.took += solved.took
        if solved.chosen is None:
            return True
        lists, unordered = _ordered(self.instance, self.kept, solved.chosen)
        for placed in unordered:
            self.model.forbid(placed)
            # Not every order of a long list was tried, so from now on the solver may miss what could stand.
            self.exact = self.exact and len(placed) <= LONGEST_ORDERED
        if not unordered and of_lists(self.instance, lists) > self.worth + 1e-6:
            self.found, self.worth = lists, of_lists(self.instance, lists)
            self.told(self.worth, self.bound)
        return not unordered


def _ordered(
    instance: Instance, kept: Lists, chosen: list[tuple[Key, Option]]
) -> tuple[Lists, list[list[tuple[Key, Option]]]]:
    """The chosen in an order that stands, session by session; and the sessions for which there is none."""
    placings: list[Placing] = []
    without: list[list[tuple[Key, Option]]] = []
    for session in instance.sessions:
        here = [(key, option) for key, option in chosen if option.session == session]
        for order in _orders(instance, here):
            tried = tuple(
                Placing(session, place, key, option.trainee, option.supervisor)
                for place, (key, option) in enumerate(order, 1)
            )
            if not any(True for _ in broken_rules(Week(instance, replace(kept, placings=tried)), _OF_ORDER)):
                placings += tried
                break
        else:
            without.append(here)
    return replace(kept, placings=tuple(placings)), without


def _orders(instance: Instance, here: list[tuple[Key, Option]]) -> Iterator[tuple[tuple[Key, Option], ...]]:
    """Orders to try: fixed places kept and the most pressing first, then every other."""

    def usual(placed: tuple[Key, Option]) -> tuple[object, ...]:
        case = instance.cases[placed[0]]
        first = any(case.order[rule.id] is True for rule in instance.order if rule.first)
        last = any(case.order[rule.id] is True for rule in instance.order if not rule.first)
        return (not first, last, str(case.last_day or "9"), -case.tier, placed[0])

    yield tuple(sorted(here, key=usual))
    if len(here) <= LONGEST_ORDERED:
        yield from permutations(here)


def _reason(instance: Instance, kept: Lists, lists: Lists, placing: Placing) -> Reason | None:
    if any(placing.case == other.case for other in kept.placings):
        return None
    others = Lists(tuple(one for one in lists.placings if one.case != placing.case), lists.both_eyes_agreed)
    possible = possibilities(instance, others)[placing.case]
    own = Option(placing.session, placing.trainee, placing.supervisor)
    by_worth = ranked(instance, others, placing.case, possible)
    points, worth = next((points, worth) for points, option, worth in by_worth if option == own)
    barred = sum(
        more > points and bool(attempt(instance, others, placing.case, option).broken) for more, option, _ in by_worth
    )
    return Reason(placing.case, worth, barred, pressing(instance, placing.case))
