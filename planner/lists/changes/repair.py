"""The morning of: the smallest change after which the lists stand again. A proposal; the people in theatre decide."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from planner.lists.changes.day import RepairDay
from planner.lists.changes.differences import ListChange, changes, kind_of
from planner.lists.changes.disrupted_week import DisruptedWeek, disrupted_week
from planner.lists.changes.disruption import Disruption
from planner.lists.changes.postponement import LaterPlaces
from planner.lists.changes.repair_cost import RepairCost
from planner.lists.changes.repair_search import WORK, RepairFound, mended
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

UNLOCKED = 4  # a part of the work so large is spent on each lock


@dataclass(frozen=True)
class CaseOff:
    """A case that comes off, why (empty: no place that day keeps every rule), and the later place it could have."""

    case: Key
    because: str
    later: Placing | None


@dataclass(frozen=True)
class FreedCase:
    """A locked case, why it is locked, and where it would be once it is not (None: off that day)."""

    case: Key
    why: str
    was: Placing
    now: Placing | None


@dataclass(frozen=True)
class Unlocking:
    """The cases to unlock, together; `keep` then keep their place that day. `stands`: every rule is then kept."""

    freed: tuple[FreedCase, ...]
    keep: tuple[Key, ...]
    stands: bool


@dataclass(frozen=True)
class Repair:
    """`lists` stand again, unless what is begun or locked forbids it; `before` is what they are compared with.

    `stranded` are the cases of a session that is lost, with why; `broken` is what else no longer stood. `proved`: no
    smaller change exists; else none was found in the work allowed. Later places are found for all together.
    """

    instance: Instance
    after: DisruptedWeek
    before: Lists
    lists: Lists
    stranded: tuple[tuple[Key, str], ...]
    broken: tuple[Broken, ...]
    changes: tuple[ListChange, ...]
    off: tuple[CaseOff, ...]
    verdict: Verdict
    measure: RepairCost
    proved: bool
    unlocking: tuple[Unlocking, ...]


def repair(
    instance: Instance, lists: Lists, disruption: Disruption, locked: Mapping[Key, str] | None = None, work: int = WORK
) -> Repair:
    """Mend lists after what happened; `locked` cases, with why, stay as they are.

    Only lists of the days concerned change. Same input, same answer. Raises PlannerError for a case that is begun or
    cancelled and on no list.
    """
    after, locked = disrupted_week(instance, lists, disruption), locked or {}
    today = RepairDay(after, after.begun | frozenset(locked))
    later = LaterPlaces(after.instance, after.lists, after.days, today.pressing)
    change = mended(today, later, work)
    freed = tuple(_unlocking(today, later, change, locked, work // UNLOCKED))
    mended_lists = today.lists(change.placings)
    come_off = [key for key, option in change.chosen.items() if option is None]
    # One that was added and finds no place that day keeps the one that it has on another.
    kept = {placing.case: placing for placing in mended_lists.placings if placing.case in come_off}
    later = LaterPlaces(after.instance, mended_lists, after.days, today.pressing)
    places = later.places(key for key in come_off if key not in kept)
    rebooked = replace(mended_lists, placings=(*mended_lists.placings, *places.values()))
    others = LaterPlaces(after.instance, rebooked, after.days, today.pressing).places(after.cancelled)
    off = [CaseOff(key, why, others.get(key)) for key, why in after.cancelled.items()]
    off += [CaseOff(key, "", kept.get(key, places.get(key))) for key in come_off]
    was = ((key, today.was[key].session) for key in today.free if key in today.was)
    return Repair(
        instance=after.instance,
        after=after,
        before=after.lists,
        lists=mended_lists,
        stranded=tuple((key, after.lost[session]) for key, session in was if session in after.lost),
        broken=tuple(RULES.broken(Week(after.instance, after.lists))),
        changes=changes(after.lists, mended_lists),
        off=tuple(off),
        verdict=check(after.instance, mended_lists),
        measure=change.measure,
        proved=change.proved,
        unlocking=freed,
    )


def _unlocking(
    today: RepairDay, later: LaterPlaces, change: RepairFound, locked: Mapping[Key, str], work: int
) -> Iterator[Unlocking]:
    """Each lock without which fewer cases lose their place or fewer rules stay broken; else all of them at once."""
    locks = [placing for placing in today.fixed if placing.case in locked and placing.case not in today.after.begun]
    if not locks or not (today.unmendable or change.measure.off):
        return

    def worth(day: RepairDay, of: RepairFound) -> tuple[int, ...]:
        return len(day.unmendable), *of.measure[:4]

    def without(locks: list[Placing]) -> Unlocking | None:
        """What the answer is without these locks, where it is better."""
        other = RepairDay(today.after, today.fixed_cases - {placing.case for placing in locks})
        then = mended(other, later, work)
        if worth(other, then) >= worth(today, change):
            return None
        now = {placing.case: placing for placing in then.placings}
        keep = tuple(key for key, option in change.chosen.items() if option is None and then.chosen[key] is not None)
        moved = [p for p in locks if now.get(p.case) is None or kind_of(p, now[p.case])]
        freed = tuple(FreedCase(p.case, locked[p.case], p, now.get(p.case)) for p in moved or locks)
        return Unlocking(freed, keep, not other.unmendable)

    alone = [better for placing in locks if (better := without([placing]))]
    if alone:
        yield from alone
    elif len(locks) > 1 and (together := without(locks)):
        yield together
