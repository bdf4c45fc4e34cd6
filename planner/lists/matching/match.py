"""Matching in its usual way: lists filled case by case, the most pressing first, and then made better for a while.

The same input gives the same lists: the work is counted, never timed. The checker judges every step, and the whole at
the end. How far the lists are from the best is measured on the weeks of `tests/bench`, and not promised for any other.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling, Shorts
from planner.lists.matching.local_search import Refilling
from planner.lists.matching.objective import of_lists
from planner.lists.matching.placement_bound import More, most_more
from planner.lists.matching.reasons import Blocked, Reason, reasons, why_none
from planner.lists.matching.search import Search, Solver, solver
from planner.lists.matching.sequencing import hardest_in_place
from planner.lists.rules.checker import Verdict, check
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.wording.words import percent

if TYPE_CHECKING:
    from planner.lists.matching.relaxation import Bound

NOT_PROVED = "Not proved to be the best there is."
LOSING = (0.5, 1.5, 4.0)  # points; what loses more comes after
# Of the search that follows the filling, in its own deterministic seconds.
LEAST_EFFORT, EFFORT_A_SESSION, MOST_EFFORT = 6.0, 0.6, 20.0
LARGEST_TWICE = 20_000  # places of all cases together, up to which lists are filled in two ways to begin from


@dataclass(frozen=True)
class Matched:
    """Lists with the reason for each case placed and what bars the others; `worth` is the unit's own points.

    `more` says how many cases at most could be placed besides, where that was worked out. Not `explained`, there are no
    reasons: an interrupt came while they were worked out. No lists are worth more than `bound` (None: the best were not
    searched for), nor more than these where that is `proved`.
    """

    lists: Lists
    reasons: dict[Key, Reason]
    blocked: tuple[Blocked, ...]
    verdict: Verdict
    worth: float
    explained: bool = True
    more: More | None = None
    bound: float | None = None
    proved: bool = False

    @property
    def how_good(self) -> str:
        """In sentences, how far from the best these lists can be, and how many more cases at most."""
        if self.proved:
            good = "Proved: no lists are worth more."
        elif self.bound is None:
            good = NOT_PROVED
        elif self.bound == math.inf:
            good = f"{NOT_PROVED[:-1]}: too little effort even for a bound."
        else:
            short = percent((self.bound - self.worth) / self.bound)
            good = f"None are worth more than {self.bound:.1f} points, so these are at most {short} short of the best."
        return f"{good} {self.more.says}" if self.more else good


def match(instance: Instance, kept: Lists | None = None, done: Callable[[], object] = lambda: None) -> Matched:
    """Place the cases that `kept` does not hold, and say why each is where it is or nowhere. `kept` breaks no rule.

    `done` is called once for each case that has been looked at for the first time.
    """
    alike, installed = Alike(instance, kept), solver()
    if installed is None:
        lists = in_order(alike, Refilling(alike).better(filled(alike, done)))
        return matched(alike, in_turn(alike, lists))
    search = begun_search(alike, installed, done)
    search.improve(usual_effort(instance))
    return matched(alike, in_turn(alike, search.best), search.most)


def usual_effort(instance: Instance) -> float:
    """What the usual way spends on its search, in deterministic seconds."""
    return min(MOST_EFFORT, max(LEAST_EFFORT, EFFORT_A_SESSION * len(instance.sessions)))


def begun_search(alike: Alike, installed: Solver, done: Callable[[], object] = lambda: None) -> Search:
    """A search that starts from the better of two fillings."""
    most = installed.bound(alike)
    begun = filled(alike, done, most.shorts)
    if alike.size <= LARGEST_TWICE:
        begun = max(begun, filled(alike), key=alike.worth)
    return Search(alike, begun, most, installed.model)


def filled(alike: Alike, done: Callable[[], object] = lambda: None, shorts: Shorts | None = None) -> Lists:
    """Lists filled case by case alone, and not made better. `shorts` is as in `Filling`."""
    waiting, filling = list(alike.waiting), Filling(alike, alike.kept, shorts)
    for losing in LOSING if shorts else ():
        waiting = [key for key in waiting if not filling.place(key, losing)]
    placed = first_time = True
    while placed:  # A case put before another can give a set time to be ready, so those left over are tried again.
        placed = False
        for key in list(waiting):
            if first_time:
                done()
            if filling.place(key):
                placed = True
                waiting.remove(key)
        first_time = False
    return in_order(alike, filling.lists)


def in_order(alike: Alike, lists: Lists) -> Lists:
    """The order the unit wishes for the hardest, on the lists that were empty."""
    had_cases = {placing.session for placing in alike.kept.placings}
    return hardest_in_place(alike.instance, lists, (name for name in alike.instance.sessions if name not in had_cases))


def matched(alike: Alike, lists: Lists, most: Bound | None = None, explained: bool = True) -> Matched:
    """The lists in the order of the sessions, judged; `explained`, with what bars each case that they do not hold."""
    instance, order = alike.instance, list(alike.instance.sessions)
    placings = sorted(lists.placings, key=lambda placing: (order.index(placing.session), placing.place))
    lists = Lists(tuple(placings), lists.both_eyes_agreed)
    verdict, worth = check(instance, lists), of_lists(instance, lists)
    if not explained:
        return Matched(lists, {}, (), verdict, worth, explained=False)
    why, waiting = reasons(alike, lists), [key for key in instance.cases if key not in lists.placed]
    return Matched(lists, why, why_none(alike, lists, waiting), verdict, worth, more=most_more(alike, lists, most))


def in_turn(alike: Alike, lists: Lists) -> Lists:
    """The same places dealt anew among cases of a kind, none later than needed; kept, published and begun ones stay."""
    instance = alike.instance
    fixed = {*instance.as_published, *instance.begun, *alike.kept.placed}
    kinds: dict[int, list[Key]] = defaultdict(list)
    for key in sorted(instance.cases, key=instance.turn):
        if key not in fixed:
            kinds[alike.kind(key)].append(key)
    at = {placing.case: placing for placing in lists.placings}
    for keys in kinds.values():
        _deal(alike, keys, at)
    return replace(lists, placings=tuple(at.values()))


def _deal(alike: Alike, keys: list[Key], at: dict[Key, Placing]) -> None:
    """Exchange places until nobody can have an earlier one from somebody less pressing. `keys` are in their turn."""
    for n, key in enumerate(keys):
        for other in keys[n + 1 :]:
            own, theirs = at.get(key), at.get(other)
            if theirs is None or (own is not None and not _earlier(alike.instance, theirs, own)):
                continue
            if not _in_time(alike, key, theirs) or (own and not _in_time(alike, other, own)):
                continue
            at[key] = replace(theirs, case=key)
            if own is None:
                del at[other]
            else:
                at[other] = replace(own, case=other)


def _earlier(instance: Instance, one: Placing, other: Placing) -> bool:
    """Whether one comes before the other on its list, or on an earlier one."""
    if one.session == other.session:
        return one.place < other.place
    return instance.sessions[one.session].span[0] < instance.sessions[other.session].span[0]


def _in_time(alike: Alike, key: Key, placing: Placing) -> bool:
    last = alike.deadline(key)
    return last is None or alike.instance.sessions[placing.session].day <= last
