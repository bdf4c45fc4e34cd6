"""The morning of: the smallest change after which the lists stand again. A proposal; the people in theatre decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from planner.lists.changes.day import Today
from planner.lists.changes.differences import ListChange, changes
from planner.lists.changes.disrupted_week import Aftermath, aftermath
from planner.lists.changes.disruption import Happened
from planner.lists.changes.postponement import Later
from planner.lists.changes.repair_cost import Measure
from planner.lists.changes.repair_search import WORK, mended
from planner.lists.changes.unlocking import Unlocked, unlocking
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

UNLOCKED = 4  # a part of the work so large is spent on each lock


@dataclass(frozen=True)
class Off:
    """A case that comes off, why (empty: no place that day keeps every rule), and the later place it could have."""

    case: Key
    because: str
    later: Placing | None


@dataclass(frozen=True)
class Repaired:
    """`lists` stand again, unless what is begun or locked forbids it; `before` is what they are compared with.

    `stranded` are the cases of a session that is lost, with why; `broken` is what else no longer stood. `proved`: no
    smaller change exists; else none was found in the work allowed. Later places are found for all together; `rebooked`
    says that no fewer cases could go without one.
    """

    instance: Instance
    after: Aftermath
    before: Lists
    lists: Lists
    stranded: tuple[tuple[Key, str], ...]
    broken: tuple[Broken, ...]
    changes: tuple[ListChange, ...]
    off: tuple[Off, ...]
    verdict: Verdict
    measure: Measure
    proved: bool
    rebooked: bool
    unlocking: tuple[Unlocked, ...]


def repair(
    instance: Instance, lists: Lists, happened: Happened, locked: Mapping[Key, str] | None = None, work: int = WORK
) -> Repaired:
    """Mend lists after what happened; `locked` cases, with why, stay as they are.

    Only lists of the days concerned change. Same input, same answer. Raises PlannerError for a case that is begun or
    cancelled and on no list.
    """
    after, locked = aftermath(instance, lists, happened), locked or {}
    today = Today(after, after.begun | frozenset(locked))
    later = Later(after.instance, after.lists, after.days, today.pressing)
    found = mended(today, later, work)
    freed = tuple(unlocking(today, later, found, locked, work // UNLOCKED))
    mended_lists = today.lists(found.placings)
    come_off = [key for key, option in found.chosen.items() if option is None]
    # One that was added and finds no place that day keeps the one that it has on another.
    kept = {placing.case: placing for placing in mended_lists.placings if placing.case in come_off}
    later = Later(after.instance, mended_lists, after.days, today.pressing)
    places, whole = later.places(key for key in come_off if key not in kept)
    rebooked = replace(mended_lists, placings=(*mended_lists.placings, *places.values()))
    others, _ = Later(after.instance, rebooked, after.days, today.pressing).places(after.cancelled)
    off = [Off(key, why, others.get(key)) for key, why in after.cancelled.items()]
    off += [Off(key, "", kept.get(key, places.get(key))) for key in come_off]
    return Repaired(
        after.instance, after, after.lists, mended_lists,
        tuple((key, after.lost[today.was[key].session]) for key in today.free
              if key in today.was and today.was[key].session in after.lost),
        tuple(RULES.broken(Week(after.instance, after.lists))),
        changes(after.lists, mended_lists), tuple(off), check(after.instance, mended_lists), found.measure,
        found.proved, whole, freed,
    )  # fmt: skip
