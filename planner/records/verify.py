"""Checking that the trail is whole, and that every row is what the trail says was entered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, Table, inspect, select, text

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.database import Database
from planner.records.people import password_in_trail
from planner.records.trail import FIRST, hash_of, in_trail, sha256
from planner.records.transaction import every_row

MOST_FAULTS = 20


@dataclass(frozen=True)
class Verified:
    """A trail that holds: so many entries, and the hash of the last. Written down, it shows later that none was cut."""

    entries: int
    hash: str

    @property
    def head(self) -> str:
        return f"{self.entries}:{self.hash}"


def verify(database: Database, head: str | None = None) -> Verified:
    """Check the whole store. `head` is what an earlier check gave. Raises PlannerError with what was found wrong.

    Who can write to the database, drop its triggers and reckon every hash anew can deceive this check; an earlier
    head, kept elsewhere, then shows it.
    """
    with database.reading() as connection:
        faults = list(_unguarded(connection, database.is_file))
        entered: dict[tuple[str, str], str] = {}
        sequence, previous, past = 0, FIRST, {}
        for row in every_row(connection, schema.trail):
            entry = dict(row._mapping)
            where = f"trail, entry {entry['sequence']}"
            if entry["sequence"] != sequence + 1:
                faults.append(Fault(where, f"entry {sequence + 1} is missing"))
            if entry["previous"] != previous:
                faults.append(Fault(where, "does not follow from the entry before", "one of the two was changed"))
            if entry["hash"] != hash_of(entry):
                faults.append(Fault(where, "was changed after it was entered"))
            sequence, previous = entry["sequence"], entry["hash"]
            past[sequence] = previous
            key = (entry["kept_in"], entry["row"])
            if key in entered and entry["kept_in"] != schema.passwords.name:
                faults.append(Fault(where, f"enters {key[0]} {key[1]} a second time"))
            entered[key] = sha256(entry["after"] or "")
        faults += _rows_unlike(connection, entered)
        faults += _not_in(past, head)
    if faults:
        more = [Fault("", f"and {len(faults) - MOST_FAULTS} more")] if len(faults) > MOST_FAULTS else []
        raise PlannerError([*faults[:MOST_FAULTS], *more])
    return Verified(sequence, previous)


def _rows_unlike(connection: Connection, entered: dict[tuple[str, str], str]) -> Iterator[Fault]:
    """Rows that are not what the trail says, that it does not know, or that are gone."""
    waiting = dict(entered)
    for name, key, content in _rows(connection):
        said = waiting.pop((name, key), None)
        if said is None:
            yield Fault(f"{name} {key}", "the trail does not know of it")
        elif said != sha256(content):
            yield Fault(f"{name} {key}", "was changed after it was entered")
    for name, key in waiting:
        yield Fault(f"{name} {key}", "was entered, as the trail says, and is gone")


def _rows(connection: Connection) -> Iterator[tuple[str, str, str]]:
    for table in schema.KEPT:
        for row in every_row(connection, table):
            yield table.name, str(row.id), in_trail(table.name, dict(row._mapping))
    for row in every_row(connection, schema.passwords):
        yield schema.passwords.name, row.code, password_in_trail(row._mapping)


def _not_in(past: dict[int, str], head: str | None) -> Iterator[Fault]:
    if head is None:
        return
    number, _, hash_then = head.strip().partition(":")
    if not number.isdecimal() or len(hash_then) != 64:
        raise PlannerError.one(f"{head[:40]!r} is no head of a trail", hint="ENTRIES:HASH, as verify printed it")
    if past.get(int(number)) != hash_then:
        yield Fault("trail", f"had another entry {number} when that head was written down", "it was cut or rewritten")


def _unguarded(connection: Connection, is_file: bool) -> Iterator[Fault]:
    """Tables whose triggers are gone."""
    if is_file:
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    guards = set(connection.scalars(text(query)))
    for table in schema.PROTECTED:
        if not {f"{table.name}_no_update", f"{table.name}_no_delete"} <= guards:
            yield Fault(table.name, "its guard against changes is gone", "somebody took the triggers away")


def is_empty(connection: Connection) -> bool:
    """Whether nothing was ever entered; a database without tables is empty too."""
    tables: list[Table] = [*schema.PROTECTED, schema.passwords]
    names = set(inspect(connection).get_table_names())
    there = (select(table).limit(1) for table in tables if table.name in names)
    return all(connection.execute(query).first() is None for query in there)
