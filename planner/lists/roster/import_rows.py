"""Taking rows into the roster: what each would add or change, what is set aside and why, and the changes to enter."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from planner.errors import Fault, PlannerError
from planner.lists.roster.entries import KINDS, Part, look, shaped, written
from planner.lists.roster.fields import cell_of, fields_of
from planner.records.export import guarded
from planner.records.rows import RosterChange, RosterEntry
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

WHY = "why"
PEOPLE = ("trainee", "supervisor")
LEAVE = "leave"  # the kind of a row that adds days of leave to whoever it names


@dataclass(frozen=True)
class Row:
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
class Aside:
    """A row that is not taken, and why."""

    where: str
    why: str
    original: tuple[str, ...]


@dataclass(frozen=True)
class Given:
    """What one source holds: rows that can be read, and those that cannot. `columns` head the cells of both."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    aside: tuple[Aside, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Told:
    """What would become of one entry: `new`, `changed` or `same`, and how each field would."""

    what: str
    kind: str
    key: str
    fields: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Taking:
    """What taking would do. Nothing is entered until `changes` are."""

    changes: tuple[RosterChange, ...]
    told: tuple[Told, ...]
    aside: Mapping[str, tuple[Aside, ...]]
    notes: tuple[str, ...]

    def count(self, what: str) -> int:
        return sum(one.what == what for one in self.told)

    @property
    def set_aside(self) -> list[Aside]:
        return [one for rows in self.aside.values() for one in rows]


def taking(given: Sequence[Given], held: Sequence[RosterEntry], unit: Unit, rulebook: Rulebook) -> Taking:
    """What the sources would do to the roster held. A row that cannot stand beside the others is set aside too."""
    made, aside = _made(given, held)
    before = set(look(held, unit, rulebook).faults)
    while True:
        faults = [fault for fault in look(_after(held, made), unit, rulebook).faults if fault not in before]
        if not faults:
            break
        blamed = _blamed(faults, made)
        if not blamed:
            raise PlannerError(faults)
        for address, why in blamed.items():
            for name, row in made.pop(address).rows:
                aside[name].append(Aside(row.where, why, row.original))
    told = [_told(address, one) for address, one in made.items()]
    changes = [
        RosterChange(kind, key, one.based_on, one.document)
        for ((kind, key), one), said in zip(made.items(), told, strict=True)
        if said.what != "same"
    ]
    in_order = {name: tuple(rows) for name, rows in aside.items()}
    return Taking(tuple(changes), tuple(told), in_order, tuple(note for one in given for note in one.notes))


@dataclass
class _Made:
    """An entry as the rows make it of what is held."""

    based_on: int
    was: Mapping[str, Any] | None
    document: dict[str, Any]
    rows: list[tuple[str, Row]]


_Address = tuple[str, str]


def _made(given: Sequence[Given], held: Sequence[RosterEntry]) -> tuple[dict[_Address, _Made], dict[str, list[Aside]]]:
    standing = {(entry.kind, entry.key): entry for entry in held}
    made: dict[_Address, _Made] = {}
    aside: dict[str, list[Aside]] = {one.name: list(one.aside) for one in given}
    # Leave last, so that it finds whom another table of the same file brings.
    rows = [(one.name, row) for one in given for row in one.rows]
    for name, row in sorted(rows, key=lambda pair: bool(pair[1].away)):
        address = row.kind, row.key
        if row.kind == LEAVE:
            people = [(kind, row.key) for kind in PEOPLE]
            address = next((one for one in people if one in made or one in standing), people[0])
        earlier, entry = made.get(address), standing.get(address)
        why = ""
        if earlier is not None and not row.away and not all(other.away for _, other in earlier.rows):
            why = f"{KINDS[address[0]].told(row.key)} stands twice: first at {earlier.rows[0][1].where}"
        kept = earlier.document if earlier else entry.document if entry and not entry.retired else None
        if row.away and kept is None:
            why = f"nobody in the roster has the code {row.key!r}"
        if not why:
            document = _merged(row, kept)
            read, faults = shaped(KINDS[address[0]], row.key, document)
            # One way of writing each value, whichever file it came from.
            document = document if read is None else written(read)
            why = "" if read is not None else "; ".join(_without_place(fault) for fault in faults)
        if why:
            aside[name].append(Aside(row.where, why, row.original))
        elif earlier is not None:
            earlier.document = document
            earlier.rows.append((name, row))
        else:
            was = entry.document if entry and not entry.retired else None
            made[address] = _Made(entry.number if entry else 0, was, document, [(name, row)])
    return made, aside


def _merged(row: Row, kept: Mapping[str, Any] | None) -> dict[str, Any]:
    document = {} if row.whole or kept is None else dict(kept)
    document |= row.says
    if row.away:
        days = list(document.get("leave", []))
        document["leave"] = sorted({*days, *row.away})
    return {name: value for name, value in document.items() if value is not None}


def _without_place(fault: Fault) -> str:
    return str(Fault("", fault.what, fault.why, fault.hint))


def _after(held: Sequence[RosterEntry], made: Mapping[_Address, _Made]) -> list[RosterEntry | Part]:
    """The roster as it would stand: entries in their places, new ones behind them."""
    known = {(entry.kind, entry.key) for entry in held}
    after: list[RosterEntry | Part] = []
    for entry in held:
        one = made.get((entry.kind, entry.key))
        after.append(Part(entry.kind, entry.key, one.document) if one else entry)
    return after + [Part(*address, one.document) for address, one in made.items() if address not in known]


def _blamed(faults: Iterable[Fault], made: Mapping[_Address, _Made]) -> dict[_Address, str]:
    """The rows that faults are about: whose entry a fault stands at, else whose id it names."""
    found: dict[_Address, str] = {}
    for fault in faults:
        places = {KINDS[kind].told(key): (kind, key) for kind, key in made}
        address = places.get(fault.where)
        if address is None:
            words = fault.what.replace("'", " ").split()
            address = next((one for one in made if one[1] and one[1] in words), None)
        if address is not None:
            found.setdefault(address, _without_place(fault))
    return found


def _told(address: _Address, one: _Made) -> Told:
    kind = KINDS[address[0]]
    was = one.was or {}
    fields = tuple(
        (about.name, cell_of(about, was.get(about.name)), cell_of(about, one.document.get(about.name)))
        for about in fields_of(kind.shape)
        if cell_of(about, was.get(about.name)) != cell_of(about, one.document.get(about.name))
    )
    what = "new" if one.was is None else "changed" if fields else "same"
    return Told(what, *address, fields)


def aside_file(columns: Sequence[str], rows: Iterable[Aside]) -> bytes:
    """A table of what was set aside, each row with its reason before it; mended, it can be taken as it is."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([WHY, *columns])
    writer.writerows([one.why, *map(guarded, one.original)] for one in rows)
    return text.getvalue().encode()
