"""What one connection reads of the store, and a change: one transaction, each of whose rows the trail is told of."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, fields
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Column, Connection, Row, Table, and_, func, insert, select
from sqlalchemy.sql import ColumnElement

from planner.errors import PlannerError
from planner.records import schema
from planner.records.roles import COMMAND_LINE, SERVER
from planner.records.rows import Ending, Person, StepChange, StoredCase
from planner.records.trail import FIRST, hash_of, in_trail

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Entity = TypeVar("Entity", bound="DataclassInstance")


class ReadTransaction:
    """One moment of the store."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def rows(self, query: Any) -> Sequence[Row[Any]]:
        return self.connection.execute(query).all()

    def all(self, kind: type[Entity], query: Any) -> tuple[Entity, ...]:
        """Every row of a query as what it is."""
        return tuple(entity(kind, row) for row in self.connection.execute(query))

    def one_of(self, table: Table, row_id: int, what: str) -> Row[Any]:
        """One row by its id, with its ending's columns. Raises PlannerError where there is none."""
        row = self.connection.execute(with_endings(table, table.c.id == row_id)).first()
        if row is None:
            raise PlannerError.one(f"there is no {what} {row_id}")
        return row

    def last_row(self, table: Table, *conditions: ColumnElement[bool]) -> Row[Any] | None:
        """The row entered last of those, None where there is none."""
        query = select(table).where(*conditions).order_by(table.c.id.desc()).limit(1)
        return self.connection.execute(query).first()

    def open_rows(self, table: Table, case_id: int) -> Sequence[Row[Any]]:
        """The rows of a case in a table whose rows end, that have not ended; the first one first."""
        return self.rows(with_endings(table, table.c.case_id == case_id, open_only=True))

    def open_row(self, table: Table, case_id: int) -> Row[Any] | None:
        """The first of them, None where none is open."""
        return next(iter(self.open_rows(table, case_id)), None)

    def case(self, case_id: int) -> StoredCase:
        """Raises PlannerError where there is none."""
        return entity(StoredCase, self.one_of(schema.cases, case_id, "case"))

    def person(self, code: str) -> Person | None:
        """The person of a code as last entered, or None."""
        row = self.last_row(schema.people, schema.people.c.code == code)
        return None if row is None else entity(Person, row)

    def known_person(self, code: str, where: str) -> Person:
        """The active person of a code. Raises PlannerError."""
        person = self.person(code)
        if person is None or not person.active:
            raise PlannerError.one(f"nobody active has the code {code!r}", where, hint="planner people list")
        return person


class Transaction(ReadTransaction):
    """A change; `at` and `by` are written into each row. Holds the writers' lock: numbers are counted without a gap."""

    def __init__(self, connection: Connection, at: str, by: str) -> None:
        super().__init__(connection)
        self.at = at
        self.by = by

    def enter(self, kind: type[Entity], table: Table, what: str, /, **more: Any) -> Entity:
        """The same as `insert`, and the row as what it is."""
        return entity(kind, self.insert(table, what, **more))

    def insert(
        self, table: Table, what: str, /, *, about: int | None = None, before: Any = None, **values: Any
    ) -> dict[str, Any]:
        """Enter one row of these values, numbered after the last, and return it.

        `before` is the row that held until now, `about` the case where the row itself does not say it.
        """
        highest = self.connection.scalar(select(func.max(table.c.id)))
        row = {"id": (highest or 0) + 1, **values, "at": self.at, "by": self.by}
        self.connection.execute(insert(table).values(row))
        entered = in_trail(table.name, {column.name: row.get(column.name) for column in table.columns})
        case_id = row["id"] if table is schema.cases else values.get("case_id", about)
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
            select(schema.trail.c.sequence, schema.trail.c.hash).order_by(schema.trail.c.sequence.desc()).limit(1)
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
        self.connection.execute(insert(schema.trail).values(**entry, hash=hash_of(entry)))

    def end(self, table: Table, row: Row[Any], kind: str, why: str, what: str) -> None:
        """End what stands: a row of its own says how, and the trail shows the row that stood."""
        before = {column.name: getattr(row, column.name) for column in table.columns}
        ended = {"kept_in": table.name, "row": row.id, "kind": kind, "why": why}
        self.insert(schema.endings, what, about=before.get("case_id"), before=before, **ended)

    def notify(self, people: Iterable[str | None], text: str, case_id: int | None) -> None:
        """Leave each of these people, once, a notice."""
        for person in dict.fromkeys(people):
            if person is not None and person not in (COMMAND_LINE, SERVER):
                self.insert(schema.notices, "notice left", for_whom=person, case_id=case_id, text=text)


def entity(kind: type[Entity], row: Row[Any] | Mapping[str, Any]) -> Entity:
    """A row as what it is: columns by their names, days and JSON read, `ended` from the columns of its ending.

    A column that is empty, or was not asked for, is the field's default, None where it has none.
    """
    columns = row if isinstance(row, Mapping) else row._mapping
    values: dict[str, Any] = {}
    for field in fields(kind):
        value = columns.get(field.name)
        if value is not None:
            values[field.name] = _READERS[field.name](value) if field.name in _READERS else value
        elif field.name == "ended" and columns.get("ended_kind") is not None:
            values["ended"] = Ending(*(columns[f"ended_{name}"] for name in ("kind", "why", "at", "by")))
        elif field.default is MISSING and field.default_factory is MISSING:
            values[field.name] = None
    return kind(**values)


def _steps(text: str) -> tuple[StepChange, ...]:
    return tuple(StepChange(item["step"], item["who"], item["note"]) for item in json.loads(text))


def _names(text: str) -> tuple[str, ...]:
    return tuple(json.loads(text))


def _entered(text: str) -> dict[str, Any]:
    """A row as an entry of the trail holds it; what it has of long JSON is a hash."""
    nested = schema.JSON_COLUMNS - {"assessment"}
    return {
        name: json.loads(value) if name in nested and isinstance(value, str) else value
        for name, value in json.loads(text).items()
    }


_READERS: dict[str, Callable[[Any], Any]] = {
    "day": datetime.date.fromisoformat,
    **dict.fromkeys(("document", "assessment"), json.loads),
    **dict.fromkeys(("changed", "complications"), _names),
    **dict.fromkeys(("steps", "step_changes"), _steps),
    **dict.fromkeys(("before", "after"), _entered),
    **dict.fromkeys(("active", "own_case", "retired"), bool),
}


def every_row(connection: Connection, table: Table) -> Iterable[Row[Any]]:
    """Every row of a table by its key, so many at once that no table need fit into memory."""
    query = select(table).order_by(*table.primary_key.columns)
    return connection.execution_options(yield_per=500).execute(query)


def is_newest(key: Column[Any], *conditions: ColumnElement[bool]) -> ColumnElement[bool]:
    """That a row was entered last of those with its `key`; only rows of these conditions are looked at."""
    number = key.table.c.id
    return number.in_(select(func.max(number)).where(*conditions).group_by(key))


def with_endings(table: Table, *conditions: ColumnElement[bool], open_only: bool = False) -> Any:
    """A selection of rows, each with its ending's columns (`ended_kind` and so on; None while it stands)."""
    endings = schema.endings
    ended = [endings.c[name].label(f"ended_{name}") for name in ("kind", "why", "at", "by")]
    joined = table.outerjoin(endings, and_(endings.c.kept_in == table.name, endings.c.row == table.c.id))
    query = select(table, *ended).select_from(joined).where(*conditions).order_by(table.c.id)
    return query.where(endings.c.id.is_(None)) if open_only else query
