"""Places on lists, made by hand: which approved case, in which theatre and order, by whom and under whom."""

from __future__ import annotations

import datetime
from typing import Any

from sqlalchemy import Connection, Row

from planner.errors import PlannerError
from planner.records import schema
from planner.records.case_versions import case_in, concerned_in
from planner.records.repository import (
    Repository,
    checked_text,
    end,
    ending_of,
    known_person,
    notify,
    one_of,
    open_rows,
    with_endings,
)
from planner.records.rows import BUILDERS, ListPlace
from planner.wording.words import day_words


class Listing(Repository):
    def allocate(
        self,
        case_id: int,
        day: datetime.date,
        theatre: str,
        place: int,
        supervisor: str,
        by: str,
        trainee: str | None = None,
        session: str | None = None,
        approval: int | None = None,
    ) -> ListPlace:
        """Give an approved case a place on a list, from 1 on. Raises PlannerError, saying what stands in the way.

        `approval` is the one by which the place was judged; another one by now is refused.
        Whether the approval still stands on that day is `standing`'s to say; here it must not have ended.
        """
        theatre = checked_text(theatre, "theatre", required=True)
        if place < 1:
            raise PlannerError.one(f"{place} is no place on a list", hint="1 for the first case")
        with self._changing(by, *BUILDERS) as change:
            connection = change.connection
            case = case_in(connection, case_id)
            told = case.in_words
            held = approval_in(connection, case_id, told)
            if approval is not None and held.id != approval:
                why = "where it may stand was judged by the approval before"
                raise PlannerError.one(f"{told} was approved again by {held.by} meanwhile", why=why, hint="look again")
            table = schema.allocations
            for listed in open_rows(connection, table, case_id):
                raise PlannerError.one(
                    f"{told} is on the list of {day_words(listed.day)} already", hint="take it off first"
                )
            same = (table.c.day == day.isoformat(), table.c.theatre == theatre, table.c.place == place)
            if taken := connection.execute(with_endings(table, *same, open_only=True)).first():
                other = case_in(connection, taken.case_id)
                what = f"place {place} in {theatre} on {day_words(day)} is taken by {other.in_words}"
                raise PlannerError.one(what, hint="another place")
            known_people(connection, trainee, supervisor)
            values = {
                "case_id": case_id,
                "approval_id": held.id,
                "day": day.isoformat(),
                "theatre": theatre,
                "place": place,
                "trainee": trainee,
                "supervisor": supervisor,
                "session": session,
            }
            row_id = change.insert(table, "put on a list", values, case_id)["id"]
            people = (trainee, supervisor, *concerned_in(connection, case_id))
            notify(change, people, f"{told} is on the list of {day_words(day)}, {theatre}, place {place}", case_id)
            return ListPlace(**(values | {"day": day}), id=row_id, at=change.at, by=by)

    def unallocate(self, allocation_id: int, why: str, by: str) -> ListPlace:
        """Take a case off its list. Raises PlannerError when it is off already."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            table = schema.allocations
            one_of(change.connection, table, allocation_id, "place on a list")
            row = change.connection.execute(with_endings(table, table.c.id == allocation_id)).one()
            if row.ended_kind is not None:
                raise PlannerError.one(f"it was taken off the list already: {row.ended_why}")
            case = case_in(change.connection, row.case_id)
            if lock_in(change.connection, case.id) is not None:
                raise PlannerError.one(f"{case.in_words}, is locked in its place", hint="unlock it first")
            end(change, table, row, "withdrawn", why, "taken off a list")
            told = f"{case.in_words}, is off the list of {day_words(row.day)}: {why}"
            notify(change, (row.trainee, row.supervisor, *concerned_in(change.connection, case.id)), told, case.id)
            return allocation_of(change.connection.execute(with_endings(table, table.c.id == allocation_id)).one())

    def allocation(self, allocation_id: int) -> ListPlace:
        """Raises PlannerError where there is none."""
        table = schema.allocations
        with self._database.reading() as connection:
            one_of(connection, table, allocation_id, "place on a list")
            return allocation_of(connection.execute(with_endings(table, table.c.id == allocation_id)).one())

    def allocations(self, case_id: int) -> tuple[ListPlace, ...]:
        """Every place a case has had, the first one first."""
        query = with_endings(schema.allocations, schema.allocations.c.case_id == case_id)
        with self._database.reading() as connection:
            return tuple(allocation_of(row) for row in connection.execute(query))


def approval_in(connection: Connection, case_id: int, told: str) -> Row[Any]:
    """The approval of a case that has not ended. Raises PlannerError."""
    for approval in open_rows(connection, schema.approvals, case_id):
        return approval
    why = "only what a consultant has approved goes on a list"
    raise PlannerError.one(f"{told} has no approval that stands", why=why)


def known_people(connection: Connection, trainee: str | None, supervisor: str) -> None:
    """Refuse people without an account, and a trainee under themselves."""
    known_person(connection, supervisor, "supervisor")
    if trainee is not None:
        known_person(connection, trainee, "trainee")
        if trainee == supervisor:
            raise PlannerError.one(f"{trainee} cannot supervise their own operation")


def lock_in(connection: Connection, case_id: int) -> Row[Any] | None:
    """The lock that holds a case, if one does."""
    return next(iter(open_rows(connection, schema.locks, case_id)), None)


def allocation_of(row: Row[Any]) -> ListPlace:
    return ListPlace(
        row.id,
        row.case_id,
        row.approval_id,
        datetime.date.fromisoformat(row.day),
        row.theatre,
        row.place,
        row.trainee,
        row.supervisor,
        row.at,
        row.by,
        ending_of(row),
        row.session,
    )
