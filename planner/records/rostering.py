"""The unit's roster, entry by entry: each change is a further version, so two people at two entries lose nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import func, select

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.repository import Repository, checked_text
from planner.records.roles import KEEPERS
from planner.records.rows import RosterChange, RosterEntry
from planner.records.trail import canonical
from planner.records.transaction import ReadTransaction, Transaction


class RosterConflict(PlannerError):
    """Somebody else changed the same entries meanwhile; nothing was kept. `pairs` are (wanted, as it stands now)."""

    def __init__(self, pairs: Sequence[tuple[RosterChange, RosterEntry | None]]) -> None:
        self.pairs = tuple(pairs)
        super().__init__([_meanwhile(wanted, now) for wanted, now in pairs])


def _meanwhile(wanted: RosterChange, now: RosterEntry | None) -> Fault:
    where = f"{wanted.kind} {wanted.key}".strip()
    if now is None:
        return Fault(where, "is not in the roster any more", hint="look at the roster again")
    what = f"{now.by} {'took this out' if now.retired else 'changed this'} meanwhile"
    why = f"version {now.number} follows the {wanted.based_on} that this began from"
    return Fault(where, what, why, "look at both, then save what is right")


class Rostering(Repository):
    def roster(self) -> tuple[RosterEntry, ...]:
        """Every entry as it stands now, retired ones too, in the order in which they were first entered."""
        with self._reading() as reading:
            return _standing(reading)

    def roster_mark(self) -> int:
        """The number of the last change of the roster; 0 where nothing was ever entered."""
        table = schema.roster_entries
        with self._reading() as reading:
            return reading.connection.scalar(select(func.max(table.c.id))) or 0

    def roster_versions(self, kind: str, key: str) -> tuple[RosterEntry, ...]:
        """Every version of one entry, the first one first."""
        table = schema.roster_entries
        query = select(table).where(table.c.kind == kind, table.c.key == key).order_by(table.c.number)
        return self._all(RosterEntry, query)

    def change_roster(
        self,
        changes: Sequence[RosterChange],
        by: str,
        note: str = "",
        check: Callable[[Sequence[RosterEntry], Sequence[RosterEntry]], None] | None = None,
    ) -> int:
        """Enter changes, all of them or none. Returns how many entries differ from before.

        Each names the version that it was made from (0: there was none), else `RosterConflict`. `check` is given the
        entries before and after, under the writers' lock, and raises PlannerError for what may not stand.
        """
        note = checked_text(note, "note")
        table = schema.roster_entries
        addresses = [(change.kind, change.key) for change in changes]
        twice = next((one for one in addresses if addresses.count(one) > 1), None)
        if twice:
            raise PlannerError.one("is changed twice at once", " ".join(twice), hint="one change for each entry")
        with self._changing(by, *KEEPERS) as change:
            before = _standing(change)
            standing = {(entry.kind, entry.key): entry for entry in before}
            pairs = [(wanted, standing.get((wanted.kind, wanted.key))) for wanted in changes]
            clashing = [(wanted, now) for wanted, now in pairs if (now.number if now else 0) != wanted.based_on]
            if clashing:
                raise RosterConflict(clashing)
            asked = [(_entry(wanted, now, note, change), now) for wanted, now in pairs]
            entries = [(entry, now) for entry, now in asked if _differs(entry, now)]
            if check is not None:
                after = standing | {(entry.kind, entry.key): entry for entry, _ in entries}
                check(before, tuple(after.values()))
            for entry, now in entries:
                values = _as_row(entry)
                del values["id"], values["at"], values["by"]
                what = "retired from the roster" if entry.retired else "roster changed" if now else "put in the roster"
                change.insert(table, what, before=_as_row(now) if now else None, **values)
            return len(entries)


def _entry(wanted: RosterChange, now: RosterEntry | None, note: str, change: Transaction) -> RosterEntry:
    """The entry as it is to stand, not yet kept."""
    document = dict(wanted.document if wanted.document is not None else now.document if now else {})
    retired = wanted.document is None
    return RosterEntry(
        wanted.kind, wanted.key, document, wanted.based_on + 1, retired, note, change.at, change.by
    )  # fmt: skip


def _differs(entry: RosterEntry, now: RosterEntry | None) -> bool:
    if now is None:
        return not entry.retired
    return (now.retired, canonical(now.document)) != (entry.retired, canonical(entry.document))


def _standing(reading: ReadTransaction) -> tuple[RosterEntry, ...]:
    table = schema.roster_entries
    # A later version takes the place of the first one, and so keeps its order.
    entries = reading.all(RosterEntry, select(table).order_by(table.c.id))
    return tuple({(entry.kind, entry.key): entry for entry in entries}.values())


def _as_row(entry: RosterEntry) -> dict[str, Any]:
    return vars(entry) | {"document": canonical(entry.document), "retired": int(entry.retired)}
