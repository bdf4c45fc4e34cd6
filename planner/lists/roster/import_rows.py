"""Rows imported into the roster: what each would add or change, what is set aside and why, and the changes to enter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from planner.errors import Fault, PlannerError
from planner.lists.roster.entries import (
    KIND_OF_FIELD,
    KINDS,
    PEOPLE,
    CheckedRoster,
    check_entries,
    shaped,
    written,
)
from planner.lists.roster.fields import cell_of, fields_of
from planner.records.export import csv_text
from planner.records.rows import RosterChange, RosterEntry
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

WHY = "why"
LEAVE = "leave"  # the kind of a row that adds days of leave to whoever it names
Address = tuple[str, str]  # kind and key of an entry


@dataclass(frozen=True)
class ImportRow:
    """What one row, entry or event says. `where` is its place, `original` its cells as they stood.

    `says` replaces the fields it names (None takes one away), or with `whole` the entry; `away` adds days of leave.
    """

    where: str
    original: tuple[str, ...]
    kind: str
    key: str
    says: Mapping[str, Any] = field(default_factory=dict)
    whole: bool = False
    away: tuple[str, ...] = ()


@dataclass(frozen=True)
class RowSetAside:
    """A row that is not taken, and why. `names_nobody`: because its `original` summary names no person."""

    where: str
    why: str
    original: tuple[str, ...]
    names_nobody: bool = False


@dataclass(frozen=True)
class ImportSource:
    """What one source holds: rows that can be read, and those that cannot. `columns` head the cells of both."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[ImportRow, ...]
    aside: tuple[RowSetAside, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class EntryImport:
    """What would become of one entry: `new`, `changed` or `same`, and each field that differs, before and after."""

    what: str
    change: RosterChange
    fields: tuple[tuple[str, str, str], ...]

    @property
    def in_words(self) -> str:
        return KINDS[self.change.kind].in_words(self.change.key)


@dataclass(frozen=True)
class RosterImport:
    """What an import would do. Nothing is entered until `changes` are. `aside` has the rows of each source by name."""

    entries: tuple[EntryImport, ...]
    aside: Mapping[str, list[RowSetAside]]
    notes: tuple[str, ...]

    @property
    def changes(self) -> list[RosterChange]:
        return [one.change for one in self.entries if one.what != "same"]

    def count(self, what: str) -> int:
        return sum(one.what == what for one in self.entries)

    @property
    def set_aside(self) -> list[RowSetAside]:
        return [one for rows in self.aside.values() for one in rows]


def import_rows(
    sources: Sequence[ImportSource], standing: Sequence[RosterEntry], unit: Unit, rulebook: Rulebook
) -> RosterImport:
    """What the sources would do to the roster as it stands. A row that cannot stand beside the others is set aside."""
    made, aside = _made(sources, standing)
    before = set(check_entries(standing, unit, rulebook).faults)
    while True:
        checked = check_entries(_after(standing, made), unit, rulebook)
        faults = [fault for fault in checked.faults if fault not in before]
        if not faults:
            break
        blamed = _blamed(faults, checked, made)
        if not blamed:
            raise PlannerError(faults)
        for address, why in blamed.items():
            for name, row in made.pop(address).rows:
                aside[name].append(RowSetAside(row.where, why, row.original))
    entries = tuple(_outcome(address, one) for address, one in made.items())
    return RosterImport(entries, aside, tuple(note for source in sources for note in source.notes))


@dataclass
class _ImportedEntry:
    """An entry as the rows make it of what stands."""

    based_on: int
    was: Mapping[str, Any] | None
    document: dict[str, Any]
    rows: list[tuple[str, ImportRow]]


def _made(
    sources: Sequence[ImportSource], standing: Sequence[RosterEntry]
) -> tuple[dict[Address, _ImportedEntry], dict[str, list[RowSetAside]]]:
    known = {(entry.kind, entry.key): entry for entry in standing}
    made: dict[Address, _ImportedEntry] = {}
    aside = {source.name: list(source.aside) for source in sources}
    # Leave last, so that it finds whom another table of the same file brings.
    rows = [(source.name, row) for source in sources for row in source.rows]
    for name, row in sorted(rows, key=lambda pair: bool(pair[1].away)):
        address = row.kind, row.key
        if row.kind == LEAVE:
            people = [(kind, row.key) for kind in PEOPLE]
            address = next((one for one in people if one in made or one in known), people[0])
        kind, earlier, entry = KINDS[address[0]], made.get(address), known.get(address)
        was = entry.document if entry and not entry.retired else None
        kept = earlier.document if earlier else was
        document: Any = None
        if row.away and kept is None:
            why = f"nobody in the roster has the code {row.key!r}"
        elif earlier is not None and not row.away and not all(other.away for _, other in earlier.rows):
            why = f"{kind.in_words(row.key)} stands twice: first at {earlier.rows[0][1].where}"
        else:
            read, faults = shaped(kind, row.key, _merged(row, kept))
            # One way of writing each value, whichever file it came from.
            document = written(read)
            why = "; ".join(fault.says for fault in faults)
        if document is None:
            aside[name].append(RowSetAside(row.where, why, row.original))
        elif earlier is not None:
            earlier.document = document
            earlier.rows.append((name, row))
        else:
            made[address] = _ImportedEntry(entry.number if entry else 0, was, document, [(name, row)])
    return made, aside


def _merged(row: ImportRow, kept: Mapping[str, Any] | None) -> dict[str, Any]:
    document = {} if row.whole or kept is None else dict(kept)
    document |= row.says
    if row.away:
        document["leave"] = sorted({*document.get("leave", []), *row.away})
    return {name: value for name, value in document.items() if value is not None}


def _after(standing: Sequence[RosterEntry], made: Mapping[Address, _ImportedEntry]) -> list[RosterEntry]:
    """The roster as it would stand: entries in their places, new ones behind them."""
    after = {(entry.kind, entry.key): entry for entry in standing}
    return [*(after | {address: RosterEntry(*address, one.document) for address, one in made.items()}).values()]


def _blamed(
    faults: Iterable[Fault], checked: CheckedRoster, made: Mapping[Address, _ImportedEntry]
) -> dict[Address, str]:
    """The entries that faults are about: the one where a fault stands, else the one that it does not agree with."""
    found: dict[Address, str] = {}
    for fault in faults:
        addresses = [_address(checked, place) for place in (fault.place, fault.beside) if place]
        address = next((one for one in addresses if one in made), None)
        if address is not None:
            found.setdefault(address, fault.says)
    return found


def _address(checked: CheckedRoster, place: tuple[str | int, ...]) -> Address:
    kind = KIND_OF_FIELD[str(place[0])]
    if not kind.listed:
        return kind.name, ""
    return kind.name, kind.key_of(getattr(checked.roster, kind.field)[place[1]].model_dump())


def _outcome(address: Address, one: _ImportedEntry) -> EntryImport:
    was = one.was or {}
    cells = [
        (about.name, cell_of(about, was.get(about.name)), cell_of(about, one.document.get(about.name)))
        for about in fields_of(KINDS[address[0]].shape)
    ]
    fields = tuple((name, before, after) for name, before, after in cells if before != after)
    what = "new" if one.was is None else "changed" if fields else "same"
    return EntryImport(what, RosterChange(*address, one.based_on, one.document), fields)


def aside_file(columns: Sequence[str], rows: Iterable[RowSetAside]) -> bytes:
    """A table of what was set aside, each row with its reason before it; mended, it can be taken as it is."""
    return csv_text([WHY, *columns], ([one.why, *one.original] for one in rows)).encode()
