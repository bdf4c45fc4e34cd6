"""What differs between two versions of the lists, row by row: said on paper, in the browser and by the repair."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from planner.lists.week.instance import Key, Lists, Placing

ChangeKind = Literal["new", "off", "session", "people", "order", "approval"]
ForPerson = Literal["on", "off", "changed"]


@dataclass(frozen=True)
class ListChange:
    """A case whose row differs: `was` or `now` is None where it had or has no place. `kind` is the largest difference.

    Kinds: `new`, `off`, `session` (another session), `people` (another trainee or supervisor), `order` (another place
    among the cases that were and are on that list), `approval` (approved again since it was published).
    """

    case: Key
    kind: ChangeKind
    was: Placing | None
    now: Placing | None


def changes(before: Lists, after: Lists) -> tuple[ListChange, ...]:
    """Every row that differs, in the order of `after` and then what came off.

    A case that only moved up because one before it came off, or down because one was put before it, has kept its
    order: it is not a change that anybody must be told.
    """
    was = {placing.case: placing for placing in before.placings}
    now = {placing.case: placing for placing in after.placings}
    sessions = {placing.session for placing in after.placings}
    moved = {key for session in sessions for key in _out_of_order(_stayed(was, now, session))}
    found = []
    for placing in sorted(after.placings):
        old = was.get(placing.case)
        if kind := kind_of(old, placing) or ("order" if placing.case in moved else None):
            found.append(ListChange(placing.case, kind, old, placing))
    off = (ListChange(old.case, "off", old, None) for old in sorted(before.placings) if old.case not in now)
    return (*found, *off)


def kind_of(was: Placing | None, now: Placing) -> Literal["new", "session", "people"] | None:
    """How a case's place differs whatever its order on the list; None where session and people are the same."""
    if was is None:
        return "new"
    if was.session != now.session:
        return "session"
    return "people" if (was.trainee, was.supervisor) != (now.trainee, now.supervisor) else None


def of_people(changed: Iterable[ListChange]) -> dict[str, dict[Key, ForPerson]]:
    """For everybody whom changes concern: which cases are now on their lists, off them, or changed on them."""
    by_person: dict[str, dict[Key, ForPerson]] = {}
    for one in changed:
        before, after = _who(one.was), _who(one.now)
        for name in (*before, *after):
            kind: ForPerson = "off" if name not in after else "changed" if name in before else "on"
            by_person.setdefault(name, {})[one.case] = kind
    return by_person


def _who(placing: Placing | None) -> tuple[str, ...]:
    return () if placing is None else tuple(name for name in (placing.trainee, placing.supervisor) if name is not None)


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
