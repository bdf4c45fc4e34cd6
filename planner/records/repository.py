"""What every part of the store stands on: one database, a clock, the way rows are read and changes begun."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from sqlalchemy import Table

from planner.errors import Fault, PlannerError
from planner.records.database import Database
from planner.records.identifiers import free_text_fault
from planner.records.roles import COMMAND_LINE, SERVER
from planner.records.rows import StepChange
from planner.records.trail import canonical
from planner.records.transaction import Entity, ReadTransaction, Transaction, with_endings


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
        with self._reading() as reading:
            return reading.all(kind, query)

    def _of_case(self, kind: type[Entity], table: Table, case_id: int) -> tuple[Entity, ...]:
        """Every row about a case, ended or not, the first one first."""
        return self._all(kind, with_endings(table, table.c.case_id == case_id))

    @contextlib.contextmanager
    def _reading(self) -> Iterator[ReadTransaction]:
        with self._database.reading() as connection:
            yield ReadTransaction(connection)

    @contextlib.contextmanager
    def _changing(self, by: str, *roles: str, signed: bool = False) -> Iterator[Transaction]:
        """A change by an active person in one of the roles (any, without one). Raises PlannerError for another.

        One that is `signed` needs a person who answers for it: the program itself may not make it.
        """
        with self._database.writing() as connection:
            change = Transaction(connection, self._now(), by)
            if by not in (COMMAND_LINE, SERVER):
                person = change.person(by)
                if person is None or not person.active:
                    raise PlannerError.one(f"{by!r} is nobody who may enter things", hint="planner people list")
                if roles and person.role not in roles:
                    why = f"that is for: {', '.join(roles)}"
                    raise PlannerError.one(f"{by} is entered as {person.role} and may not do this", why=why)
            elif signed:
                raise PlannerError.one("needs a person who answers for it", hint="sign in, or give their code")
            yield change


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
