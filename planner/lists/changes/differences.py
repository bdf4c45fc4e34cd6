"""What differs between two versions of the lists, row by row: said on paper, in the browser and by the repair."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.lists.week.instance import Key, Lists, Placing


@dataclass(frozen=True)
class Change:
    """A case whose row differs: `was` or `now` is None where it had or has no place. `kind` is the largest difference.

    Kinds: `new`, `off`, `session` (another session), `people` (another trainee or supervisor), `order` (another place
    among the cases that were and are on that list), `approval` (approved again since it was published).
    """

    case: Key
    kind: str
    was: Placing | None
    now: Placing | None


def changes(before: Lists, after: Lists) -> tuple[Change, ...]:
    """Every row that differs, in the order of `after` and then what came off.

    A case that only moved up because one before it came off, or down because one was put before it, has kept its
    order: it is not a change that anybody must be told.
    """
    return tuple(_changes(before, after))


def _changes(before: Lists, after: Lists) -> Iterator[Change]:
    was = {placing.case: placing for placing in before.placings}
    now = {placing.case: placing for placing in after.placings}
    moved = {key for session in _sessions(after) for key in _out_of_order(_stayed(was, now, session))}
    for placing in sorted(after.placings):
        old = was.get(placing.case)
        if old is None:
            yield Change(placing.case, "new", None, placing)
        elif old.session != placing.session:
            yield Change(placing.case, "session", old, placing)
        elif (old.trainee, old.supervisor) != (placing.trainee, placing.supervisor):
            yield Change(placing.case, "people", old, placing)
        elif placing.case in moved:
            yield Change(placing.case, "order", old, placing)
    for old in sorted(before.placings):
        if old.case not in now:
            yield Change(old.case, "off", old, None)


def _sessions(lists: Lists) -> list[str]:
    return sorted({placing.session for placing in lists.placings})


def _stayed(was: dict[Key, Placing], now: dict[Key, Placing], session: str) -> list[tuple[int, Key]]:
    """The cases that were and are on a list, in their order now, each with its place then."""
    stayed = [p for p in now.values() if p.session == session and p.case in was and was[p.case].session == session]
    return [(was[placing.case].place, placing.case) for placing in sorted(stayed)]


def _out_of_order(stayed: list[tuple[int, Key]]) -> set[Key]:
    """The fewest cases that must have moved past others: all but a longest rising run."""
    best: list[list[tuple[int, Key]]] = []
    for n, (place, key) in enumerate(stayed):
        before = max((run for run, (other, _) in zip(best, stayed[:n], strict=True) if other < place),
                     key=len, default=[])  # fmt: skip
        best.append([*before, (place, key)])
    kept = {key for _, key in max(best, key=len, default=[])}
    return {key for _, key in stayed} - kept
