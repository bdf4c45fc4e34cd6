"""What every part of the store stands on: one database, a clock, the way rows are read and changes begun."""

from __future__ import annotations

import contextlib
import datetime
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Column, Connection, Row, Table, and_, func, select
from sqlalchemy.sql import ColumnElement

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.database import Database
from planner.records.identifiers import free_text_fault
from planner.records.rows import Ending, Person, StepChange, StoredCase
from planner.records.trail import Transaction, canonical

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

# Who acts where no person is signed in: the command line, and the server by itself (an approval that has aged).
COMMAND_LINE = "command-line"
SERVER = "server"
Entity = TypeVar("Entity", bound="DataclassInstance")


def utc_now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)


class Repository:
    """Shared by the store's parts. `clock` gives the present time with its zone."""

    def __init__(self, database: Database, clock: Callable[[], datetime.datetime] = utc_now) -> None:
        self._database = database
        self._clock = clock

    def _now(self) -> str:
        return self._clock().astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def _all(self, kind: type[Entity], query: Any) -> tuple[Entity, ...]:
        """Every row of a query as what it is."""
        with self._database.reading() as connection:
            return tuple(entity(kind, row) for row in connection.execute(query))

    def _of_case(self, kind: type[Entity], table: Table, case_id: int) -> tuple[Entity, ...]:
        """Every row about a case, ended or not, the first one first."""
        return self._all(kind, with_endings(table, table.c.case_id == case_id))

    @contextlib.contextmanager
    def _changing(self, by: str, *roles: str, signed: bool = False) -> Iterator[Transaction]:
        """A change by an active person in one of the roles (any, without one). Raises PlannerError for another.

        One that is `signed` needs a person who answers for it: the program itself may not make it.
        """
        with self._database.writing() as connection:
            if by not in (COMMAND_LINE, SERVER):
                person = person_in(connection, by)
                if person is None or not person.active:
                    raise PlannerError.one(f"{by!r} is nobody who may enter things", hint="planner people list")
                if roles and person.role not in roles:
                    why = f"that is for: {', '.join(roles)}"
                    raise PlannerError.one(f"{by} is entered as {person.role} and may not do this", why=why)
            elif signed:
                raise PlannerError.one("needs a person who answers for it", hint="sign in, or give their code")
            yield Transaction(connection, self._now(), by)


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


_READERS: dict[str, Callable[[Any], Any]] = {
    "day": datetime.date.fromisoformat,
    **dict.fromkeys(("document", "assessment"), json.loads),
    **dict.fromkeys(("changed", "complications"), _names),
    **dict.fromkeys(("steps", "step_changes"), _steps),
    **dict.fromkeys(("active", "own_case", "retired"), bool),
}


def case_in(connection: Connection, case_id: int) -> StoredCase:
    """Raises PlannerError where there is none."""
    return entity(StoredCase, one_of(connection, schema.cases, case_id, "case"))


def person_in(connection: Connection, code: str) -> Person | None:
    """The person of a code as last entered, or None."""
    row = last_row(connection, schema.people, schema.people.c.code == code)
    return None if row is None else entity(Person, row)


def known_person(connection: Connection, code: str, where: str) -> Person:
    """The active person of a code. Raises PlannerError."""
    person = person_in(connection, code)
    if person is None or not person.active:
        raise PlannerError.one(f"nobody active has the code {code!r}", where, hint="planner people list")
    return person


def last_row(connection: Connection, table: Table, *conditions: ColumnElement[bool]) -> Row[Any] | None:
    """The row entered last of those, None where there is none."""
    return connection.execute(select(table).where(*conditions).order_by(table.c.id.desc()).limit(1)).first()


def every_row(connection: Connection, table: Table) -> Iterable[Row[Any]]:
    """Every row of a table by its key, so many at once that no table need fit into memory."""
    query = select(table).order_by(*table.primary_key.columns)
    return connection.execution_options(yield_per=500).execute(query)


def is_newest(key: Column[Any], *conditions: ColumnElement[bool]) -> ColumnElement[bool]:
    """That a row was entered last of those with its `key`; only rows of these conditions are looked at."""
    number = key.table.c.id
    return number.in_(select(func.max(number)).where(*conditions).group_by(key))


def one_of(connection: Connection, table: Table, row_id: int, what: str) -> Row[Any]:
    """One row by its id, with its ending's columns. Raises PlannerError where there is none."""
    row = connection.execute(with_endings(table, table.c.id == row_id)).first()
    if row is None:
        raise PlannerError.one(f"there is no {what} {row_id}")
    return row


def with_endings(table: Table, *conditions: ColumnElement[bool], open_only: bool = False) -> Any:
    """A selection of rows, each with its ending's columns (`ended_kind` and so on; None while it stands)."""
    endings = schema.endings
    ended = [endings.c[name].label(f"ended_{name}") for name in ("kind", "why", "at", "by")]
    joined = table.outerjoin(endings, and_(endings.c.kept_in == table.name, endings.c.row == table.c.id))
    query = select(table, *ended).select_from(joined).where(*conditions).order_by(table.c.id)
    return query.where(endings.c.id.is_(None)) if open_only else query


def open_rows(connection: Connection, table: Table, case_id: int) -> Sequence[Row[Any]]:
    """The rows of a case in a table whose rows end, that have not ended; the first one first."""
    return connection.execute(with_endings(table, table.c.case_id == case_id, open_only=True)).all()


def open_row(connection: Connection, table: Table, case_id: int) -> Row[Any] | None:
    """The first of them, None where none is open."""
    return next(iter(open_rows(connection, table, case_id)), None)


def end(change: Transaction, table: Table, row: Row[Any], kind: str, why: str, what: str) -> None:
    """End what stands: a row of its own says how, and the trail shows the row that stood."""
    before = {column.name: getattr(row, column.name) for column in table.columns}
    values = {"kept_in": table.name, "row": row.id, "kind": kind, "why": why}
    change.insert(schema.endings, what, values, before.get("case_id"), before)


def notify(change: Transaction, people: Sequence[str | None], text: str, case_id: int | None) -> None:
    """Leave each of these people, once, a notice."""
    for person in dict.fromkeys(people):
        if person is not None and person not in (COMMAND_LINE, SERVER):
            values = {"for_whom": person, "case_id": case_id, "text": text}
            change.insert(schema.notices, "notice left", values, case_id)


def checked_steps(steps: Sequence[StepChange]) -> tuple[StepChange, ...]:
    """Steps with their texts checked as `checked_text` does."""
    return tuple(
        StepChange(
            checked_text(step.step, "step", True), checked_text(step.who, step.step), checked_text(step.note, step.step)
        )
        for step in steps
    )


def steps_json(steps: Sequence[StepChange]) -> str:
    return canonical([vars(step) for step in steps])


def checked_text(text: str, where: str, required: bool = False) -> str:
    """A free text without its outer spaces. Raises PlannerError for what says who the patient is, or is missing."""
    text = text.strip()
    if required and not text:
        raise PlannerError.one("is missing", where, hint="a line that says it")
    raise_for([fault for fault in [free_text_fault(text, where)] if fault])
    return text


def raise_for(faults: list[Fault]) -> None:
    if faults:
        raise PlannerError(faults)
