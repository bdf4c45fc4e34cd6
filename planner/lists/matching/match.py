"""Matching in its usual way: lists filled case by case, the most pressing first, and then made better for a while.

The same input gives the same lists: the work is counted, never timed. The checker judges every step, and the whole at
the end. How far the lists are from the best is measured on the weeks of `tests/bench`, and not promised for any other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.lists.matching.conflict import Blocked, why_none
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.fair_turns import in_turn
from planner.lists.matching.greedy import Filling, Shorts
from planner.lists.matching.insertion import Assignment
from planner.lists.matching.local_search import Refilling
from planner.lists.matching.objective import of_lists
from planner.lists.matching.placement_bound import More, most_more
from planner.lists.matching.reasons import Reason, reasons
from planner.lists.matching.search import Search, Solver, places_of, solver
from planner.lists.matching.sequencing import hardest_in_place
from planner.lists.rules.checker import Verdict, check
from planner.lists.week.instance import Instance, Key, Lists

LOSING = (0.5, 1.5, 4.0)  # points; what loses more comes after
# Of the search that follows the filling, in its own deterministic seconds.
LEAST_EFFORT, EFFORT_A_SESSION, MOST_EFFORT = 6.0, 0.6, 20.0
LARGEST_TWICE = 20_000  # places of all cases together, up to which lists are filled in two ways to begin from


@dataclass(frozen=True)
class Matched:
    """Lists with the reason for each case placed and what bars the others; `worth` is the unit's own points.

    `more` says how many cases at most could be placed besides, where that was worked out. Not `explained`, there are no
    reasons: an interrupt came while they were worked out.
    """

    lists: Lists
    reasons: dict[Key, Reason]
    blocked: tuple[Blocked, ...]
    verdict: Verdict
    worth: float
    explained: bool = True
    more: More | None = None


def match(instance: Instance, kept: Lists | None = None, done: Callable[[], object] = lambda: None) -> Matched:
    """Place the cases that `kept` does not hold, and say why each is where it is or nowhere. `kept` breaks no rule.

    `done` is called once for each case that has been looked at for the first time.
    """
    kept, alike = kept or instance.empty, Alike(instance)
    possible, installed = possibilities(instance, kept, alike), solver()
    if installed is None:
        begun = filled(instance, kept, done, alike=alike)
        lists = in_order(instance, Refilling(instance, kept, possible, alike).better(begun), kept)
    else:
        search = begun_search(instance, kept, possible, alike, installed, done)
        search.improve(usual_effort(instance))
        lists = search.best
    lists = in_turn(instance, lists, kept)
    return matched(instance, lists, reasons(instance, kept, lists, alike), kept)


def usual_effort(instance: Instance) -> float:
    """What the usual way spends on its search, in deterministic seconds."""
    return min(MOST_EFFORT, max(LEAST_EFFORT, EFFORT_A_SESSION * len(instance.sessions)))


def begun_search(
    instance: Instance,
    kept: Lists,
    possible: dict[Key, list[Assignment]],
    alike: Alike,
    installed: Solver,
    done: Callable[[], object] = lambda: None,
) -> Search:
    """A search that starts from the better of two fillings."""
    most = installed.bound(instance, possible, kept, alike)
    begun = filled(instance, kept, done, most.shorts, alike)
    if places_of(possible) <= LARGEST_TWICE:
        begun = max(begun, filled(instance, kept, alike=alike), key=lambda lists: of_lists(instance, lists))
    return Search(instance, kept, possible, begun, installed, most, alike)


def filled(
    instance: Instance,
    kept: Lists | None = None,
    done: Callable[[], object] = lambda: None,
    shorts: Shorts | None = None,
    alike: Alike | None = None,
) -> Lists:
    """Lists filled case by case alone, and not made better. `shorts` is as in `Filling`."""
    lists, alike = kept or instance.empty, alike or Alike(instance)
    possible = possibilities(instance, lists, alike)
    waiting = list(possible)
    filling = Filling(instance, alike, lists, shorts)
    for losing in LOSING if shorts else ():
        waiting = [key for key in waiting if not filling.place(key, possible[key], losing)]
    placed = first_time = True
    while placed:  # A case put before another can give a set time to be ready, so those left over are tried again.
        placed = False
        for key in list(waiting):
            if first_time:
                done()
            if filling.place(key, possible[key]):
                placed = True
                waiting.remove(key)
        first_time = False
    return in_order(instance, filling.lists, lists)


def in_order(instance: Instance, lists: Lists, kept: Lists) -> Lists:
    """The order the unit wishes for the hardest, on the lists that were empty."""
    had_cases = {placing.session for placing in kept.placings}
    return hardest_in_place(instance, lists, (name for name in instance.sessions if name not in had_cases))


def possibilities(instance: Instance, kept: Lists, alike: Alike | None = None) -> dict[Key, list[Assignment]]:
    """For every case that is not placed already, the most pressing first, where it may stand on an empty list."""
    alike = alike or Alike(instance)
    possible = {key: alike.possible(key, kept) for key in instance.cases if key not in kept.placed}
    return dict(sorted(possible.items(), key=lambda item: _pressing(instance, item[0], len(item[1]))))


def matched(instance: Instance, lists: Lists, why: dict[Key, Reason] | None, kept: Lists | None = None) -> Matched:
    """The lists in the order of the sessions, judged, with what bars each case that they do not hold.

    Without `why`, nothing is asked of those either.
    """
    order = list(instance.sessions)
    placings = sorted(lists.placings, key=lambda placing: (order.index(placing.session), placing.place))
    lists = Lists(tuple(placings), lists.both_eyes_agreed)
    verdict, worth = check(instance, lists), of_lists(instance, lists)
    if why is None:
        return Matched(lists, {}, (), verdict, worth, explained=False)
    waiting = (key for key in instance.cases if key not in lists.placed)
    blocked = why_none(instance, lists, waiting, kept.placed if kept else frozenset())
    return Matched(lists, why, blocked, verdict, worth, more=most_more(instance, lists, kept))


def _pressing(instance: Instance, key: Key, places: int) -> tuple[object, ...]:
    *turn, last = instance.turn(key)
    return (*turn, places, -instance.cases[key].tier, last)
