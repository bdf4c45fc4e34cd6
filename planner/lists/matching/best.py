"""The best lists there are, or how far from them: a search with the solver, and a bound that no lists pass."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace

from planner.errors import PlannerError
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import Matched, begun_search, in_turn, matched, usual_effort
from planner.lists.matching.search import solver
from planner.lists.week.instance import Instance, Lists

IMPROVING = 0.5  # share of the effort spent on a few sessions at a time
TIGHTENING = 0.4  # seconds for each unit of effort, spent on the bound
SHORTEST_WHOLE = 2.0  # effort at least, where orders may have to be forbidden one after another
LARGEST_WHOLE = 20_000  # places of all cases together, up to which all sessions are searched at once as well
LARGEST_TIGHTENED = 150_000  # places, up to which whole numbers lower the bound in reasonable time


def best(
    instance: Instance,
    kept: Lists | None = None,
    effort: float = 20.0,
    progress: Callable[[float, float], object] = lambda worth, bound: None,
    ended: Callable[[], object] = lambda: None,
) -> Matched:
    """Search from the greedy lists on for about `effort` seconds, counted in the solver's own deterministic time.

    `progress` hears the worth so far and the bound (infinite until there is one) when the search starts and at each
    change; `ended` is called when it ends and the reasons are worked out. An interrupt ends the search, a later one
    leaves the reasons out; the lists found by then are kept.
    Raises PlannerError where the solver is not installed.
    """
    installed = solver()
    if installed is None:
        hint = "pip install 'cataract-case-planner[lists]', or leave out --best"
        raise PlannerError.one("the solver is not installed", why="it comes with the extra `lists`", hint=hint)
    alike = Alike(instance, kept)
    search = begun_search(alike, installed)
    search.progress = progress
    with contextlib.suppress(KeyboardInterrupt), search.interruptible():
        progress(search.worth, search.bound)
        if alike.size > LARGEST_TIGHTENED:
            search.improve(max(usual_effort(instance), effort))
        else:
            search.improve(max(usual_effort(instance), effort * IMPROVING))
            search.tighten(effort * TIGHTENING)
            if not search.proved and alike.size <= LARGEST_WHOLE:
                search.whole(max(SHORTEST_WHOLE, effort * (1 - IMPROVING - TIGHTENING)))
    lists = in_turn(alike, search.best)
    try:
        ended()
        found = matched(alike, lists, search.most)
    except KeyboardInterrupt:
        found = matched(alike, lists, explained=False)
    return replace(found, bound=max(search.bound, found.worth), proved=search.proved)
