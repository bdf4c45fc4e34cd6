"""What it would give to unlock a case that bars a better answer. Nothing is unlocked here: that is a person's to do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from planner.lists.changes.day import Today
from planner.lists.changes.postponement import Later
from planner.lists.changes.repair_search import Mended, mended
from planner.lists.week.instance import Key, Placing


@dataclass(frozen=True)
class Freed:
    """A locked case, why it is locked, and where it would be once it is not (None: off that day)."""

    case: Key
    why: str
    was: Placing
    now: Placing | None


@dataclass(frozen=True)
class Unlocked:
    """The cases to unlock, together; `keep` then keep their place that day. `stands`: every rule is then kept."""

    freed: tuple[Freed, ...]
    keep: tuple[Key, ...]
    stands: bool


def unlocking(today: Today, later: Later, found: Mended, locked: Mapping[Key, str], work: int) -> Iterator[Unlocked]:
    """Each lock without which fewer cases lose their place or fewer rules stay broken; else all of them at once."""
    held = [placing for placing in today.fixed if placing.case in locked and placing.case not in today.after.begun]
    if not held or not (today.unmendable or found.measure.off):
        return
    alone = [better for placing in held if (better := _without(today, later, found, locked, [placing], work))]
    if alone:
        yield from alone
    elif len(held) > 1 and (together := _without(today, later, found, locked, held, work)):
        yield together


def _without(
    today: Today, later: Later, found: Mended, locked: Mapping[Key, str], held: list[Placing], work: int
) -> Unlocked | None:
    """What the answer is without these locks, where it is better."""
    freed = {placing.case for placing in held}
    other = Today(today.after, today.held - freed)
    then = mended(other, later, work)
    now = {placing.case: placing for placing in then.placings}

    def worth(day: Today, of: Mended) -> tuple[int, ...]:
        return len(day.unmendable), *of.measure[:4]

    if worth(other, then) >= worth(today, found):
        return None
    keep = tuple(key for key, option in found.chosen.items() if option is None and then.chosen[key] is not None)
    moved = [p for p in held if now.get(p.case) is None or _differs(p, now[p.case])]
    return Unlocked(
        tuple(Freed(p.case, locked[p.case], p, now.get(p.case)) for p in moved or held), keep, not other.unmendable
    )


def _differs(one: Placing, other: Placing) -> bool:
    return (one.session, one.trainee, one.supervisor) != (other.session, other.trainee, other.supervisor)
