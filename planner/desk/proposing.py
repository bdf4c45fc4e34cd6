"""Lists proposed by the matching, round what stands or anew but for what is locked; entered when somebody accepts."""

from __future__ import annotations

from dataclasses import replace

from planner.desk.desk import Desk
from planner.desk.lists import ListsNow
from planner.desk.placing import arrange
from planner.lists.matching.best import best
from planner.lists.matching.match import Matched, match
from planner.lists.rules.checker import check
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Lists


def barred(now: ListsNow, again: bool) -> tuple[Broken, ...]:
    """What is broken in the lists that would stay, so that nothing can be matched round them."""
    return check(now.instance, now.held.kept).broken if again else now.verdict.broken


def propose(now: ListsNow, again: bool, seconds: float | None = None) -> Matched:
    """Match waiting cases round what stands; `again` everything that is not locked, with few changes.

    With `seconds` a search for the best lasts about so long. Raises PlannerError where the solver is not installed.
    """
    # Nobody can be put on a session that is over.
    coming = {session.id: session for session in now.sessions}
    instance = replace(now.instance, published=now.lists, sessions=coming)
    kept = now.held.kept if again else now.lists
    return match(instance, kept) if seconds is None else best(instance, kept, seconds)


def accept(desk: Desk, now: ListsNow, lists: Lists, by: str, why: str) -> tuple[Broken, ...]:
    """Enter proposed lists. What they break anew bars them, and is returned, unless `why` says why all the same.

    On the morning the roster may be behind: what was broken before, or was told, is the people's to judge. Raises
    NotCoveredError, or what the store refuses.
    """
    broken = now.new_faults(lists)
    if broken and not why:
        return broken
    arrange(desk, now.held, lists, by, why or "accepted from a proposal")
    return ()
