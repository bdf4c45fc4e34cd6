"""The trail: every row entered gets an entry that holds it, chained to the entry before by a hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select

from planner.records.schema import ADDED_LATER, HASHED_IN_TRAIL, trail

FIRST = "0" * 64
LINKED = ("sequence", "at", "who", "what", "kept_in", "row", "case_id", "before", "after", "previous")


def canonical(value: Any) -> str:
    """The one JSON text of a value: keys sorted, no spaces, nothing escaped that need not be."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def sha256(text: str) -> str:
    # What another program put into the database may hold half a character; its hash must come all the same.
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def hash_of(entry: Mapping[str, Any]) -> str:
    """The hash of an entry of the trail: over every column but the hash itself."""
    return sha256(canonical([entry[name] for name in LINKED]))


def in_trail(table: str, row: Mapping[str, Any]) -> str:
    """A row as the trail holds it: canonical JSON, long JSON in it as its hash."""
    return canonical(
        {
            name: f"sha256:{sha256(str(value))}" if (table, name) in HASHED_IN_TRAIL else value
            for name, value in row.items()
            if value is not None or (table, name) not in ADDED_LATER
        }
    )


class Transaction:
    """One transaction's entries. Every insertion is told to the trail in the same transaction.

    `at` and `by` are written into each row. Holds the writers' lock, so numbers are counted on without a gap.
    """

    def __init__(self, connection: Connection, at: str, by: str) -> None:
        self.connection = connection
        self.at = at
        self.by = by

    def insert(
        self,
        table: Table,
        what: str,
        values: Mapping[str, Any],
        case_id: int | None = None,
        before: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        """Enter one row, numbered after the last, and return it. `before` is the row that held until now."""
        highest = self.connection.scalar(select(func.max(table.c.id)))
        row = {"id": (highest or 0) + 1, **values, "at": self.at, "by": self.by}
        self.connection.execute(insert(table).values(row))
        entered = in_trail(table.name, {column.name: row.get(column.name) for column in table.columns})
        if table.name == "cases":
            case_id = row["id"]
        earlier = None if before is None else in_trail(table.name, before)
        self.tell(what, table.name, str(row["id"]), earlier, entered, case_id)
        return row

    def tell(
        self,
        what: str,
        kept_in: str,
        row: str,
        before: str | None,
        after: str | None,
        case_id: int | None = None,
    ) -> None:
        """Put one entry at the end of the trail."""
        last = self.connection.execute(
            select(trail.c.sequence, trail.c.hash).order_by(trail.c.sequence.desc()).limit(1)
        ).first()  # fmt: skip
        entry = {
            "sequence": last.sequence + 1 if last else 1,
            "at": self.at,
            "who": self.by,
            "what": what,
            "kept_in": kept_in,
            "row": row,
            "case_id": case_id,
            "before": before,
            "after": after,
            "previous": last.hash if last else FIRST,
        }
        self.connection.execute(insert(trail).values(**entry, hash=hash_of(entry)))
