"""Several places changed at once: the lists of some days brought to what was looked at and decided, or nothing."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlalchemy import Row

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.case_versions import case_in, concerned_in
from planner.records.listing import approval_in, known_people, lock_in
from planner.records.repository import Repository, checked_text, end, notify, one_of, open_rows, raise_for, with_endings
from planner.records.rows import BUILDERS, PlaceLock, WantedPlace
from planner.records.trail import Transaction
from planner.wording.words import day_words


class ListsChanged(PlannerError):
    """Somebody else changed these lists meanwhile; nothing was kept of what was wanted."""


class ListPlaces(Repository):
    def arrange(
        self, seen: Collection[int], wanted: Sequence[WantedPlace], by: str, why: str = "", although: str = ""
    ) -> int:
        """Bring the lists of some days to `wanted`, in one transaction. Returns how many cases changed their row.

        The days are those of the open places `seen` (their ids, every one on those days) and of `wanted`; a place seen
        and not wanted is taken off, which needs a reason. What does not change keeps its row. Raises ListsChanged
        where the places that stand are not those seen, PlannerError with every other fault. `although` is what the
        checker said against it, kept beside the reason.
        """
        why = checked_text(why, "reason")
        why = f"{why} (entered although: {although})" if although else why
        with self._changing(by, *BUILDERS) as change:
            standing = self._as_seen(change, seen, wanted)
            asked = {one.case_id: one for one in wanted}
            if len(asked) < len(wanted):
                raise PlannerError.one("a case stands twice in what is wanted", hint="one place a case")
            leaving = [row for row in standing.values() if not _is_as(row, asked.get(row.case_id))]
            coming = [one for one in wanted if not _is_as(standing.get(one.case_id), one)]
            raise_for([*self._locked(change, leaving, asked), *self._shared(wanted)])
            if not why and any(row.case_id not in asked for row in leaving):
                raise PlannerError.one("is missing", "reason", "a case comes off its list", "a line that says why")
            told: dict[str, list[str]] = {}
            for row in leaving:
                if row.case_id in asked:
                    end(change, schema.allocations, row, "moved", why or "moved", "moved")
                    continue
                end(change, schema.allocations, row, "withdrawn", why, "taken off a list")
                off = f"off the list of {day_words(row.day)}: {why}"
                self._tell(change, told, row.case_id, (row.trainee, row.supervisor), off)
            for one in sorted(coming, key=lambda one: (one.day, one.theatre, one.place)):
                self._enter(change, told, one, standing.get(one.case_id))
            for person, lines in told.items():
                notify(change, (person,), "; ".join(dict.fromkeys(lines)), None)
            return len({row.case_id for row in leaving} | {one.case_id for one in coming})

    def lock(self, case_id: int, why: str, by: str) -> PlaceLock:
        """Keep a placed case in its session with its people. Raises PlannerError for one without a place, or locked."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            case = case_in(change.connection, case_id)
            told = case.in_words
            if not open_rows(change.connection, schema.allocations, case_id):
                raise PlannerError.one(f"{told} has no place to be locked in")
            if lock_in(change.connection, case_id) is not None:
                raise PlannerError.one(f"{told} is locked already")
            row = change.insert(schema.locks, "locked in its place", {"case_id": case_id, "why": why}, case_id)
            return PlaceLock(row["id"], case_id, why, change.at, by)

    def unlock(self, case_id: int, why: str, by: str) -> None:
        """Let a case move again. Raises PlannerError where nothing locks it."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            row = lock_in(change.connection, case_id)
            if row is None:
                raise PlannerError.one("the case is not locked")
            end(change, schema.locks, row, "withdrawn", why, "unlocked")

    def locks(self) -> tuple[PlaceLock, ...]:
        """Every lock that holds."""
        with self._database.reading() as connection:
            rows = connection.execute(with_endings(schema.locks, open_only=True)).all()
        return tuple(PlaceLock(row.id, row.case_id, row.why, row.at, row.by) for row in rows)

    def _as_seen(
        self, change: Transaction, seen: Collection[int], wanted: Sequence[WantedPlace]
    ) -> dict[int, Row[Any]]:
        """The open places of the days, by case. Raises ListsChanged where they are not those seen."""
        table, connection = schema.allocations, change.connection
        days = {one.day.isoformat() for one in wanted}
        days |= {one_of(connection, table, number, "place on a list").day for number in seen}
        rows = connection.execute(with_endings(table, table.c.day.in_(sorted(days)), open_only=True)).all()
        others = [row for row in rows if row.id not in seen]
        gone = sorted(set(seen) - {row.id for row in rows})
        ended = connection.execute(with_endings(table, table.c.id.in_(gone))).all()
        if others or ended:
            again = "look at the lists again"
            faults = [Fault(*_name(change, row), f"{row.by} put it there", again) for row in others]
            faults += [Fault(*_name(change, row), f"{row.ended_by}: {row.ended_why}", again) for row in ended]
            raise ListsChanged(faults)
        listed = with_endings(table, table.c.case_id.in_([one.case_id for one in wanted]), open_only=True)
        for row in connection.execute(listed):
            if row.id not in seen:
                raise PlannerError.one(
                    f"{_name(change, row)[0]} is on the list of {day_words(row.day)} already", hint="take it off first"
                )
        return {row.case_id: row for row in rows}

    def _locked(
        self, change: Transaction, leaving: Iterable[Row[Any]], asked: dict[int, WantedPlace]
    ) -> Iterable[Fault]:
        for row in leaving:
            lock, to = lock_in(change.connection, row.case_id), asked.get(row.case_id)
            stays = to is not None and _at(row)[:-1] == _at(to)[:-1]
            if lock is not None and not stays:
                yield Fault(_name(change, row)[0], "is locked in its place", lock.why, "unlock it first")

    def _shared(self, wanted: Sequence[WantedPlace]) -> Iterable[Fault]:
        places: dict[tuple[Any, ...], int] = {}
        for one in wanted:
            where = (one.day, one.theatre, one.session, one.place)
            if one.place < 1:
                yield Fault("", f"{one.place} is no place on a list", hint="1 for the first case")
            if where in places:
                yield Fault("", f"place {one.place} in {one.theatre} on {day_words(one.day)} is wanted twice")
            places[where] = one.case_id

    def _enter(self, change: Transaction, told: dict[str, list[str]], one: WantedPlace, was: Row[Any] | None) -> None:
        connection = change.connection
        case = case_in(connection, one.case_id)
        approval = approval_in(connection, one.case_id, case.in_words)
        if one.approval is not None and one.approval != approval.id:
            what = f"{case.in_words}, was approved again by {approval.by} meanwhile"
            raise ListsChanged([Fault("", what, "where it may stand was judged by the approval before", "look again")])
        known_people(connection, one.trainee, one.supervisor)
        values = {
            "case_id": one.case_id, "approval_id": approval.id, "day": one.day.isoformat(),
            "theatre": checked_text(one.theatre, "theatre", required=True), "place": one.place, "trainee": one.trainee,
            "supervisor": one.supervisor, "session": one.session,
        }  # fmt: skip
        change.insert(schema.allocations, "put on a list" if was is None else "moved on a list", values, one.case_id)
        # Moving up because another came off is nothing to be told of.
        if was is None or _at(was)[:-1] != _at(one)[:-1]:
            people = (one.trainee, one.supervisor, *((was.trainee, was.supervisor) if was is not None else ()))
            self._tell(
                change,
                told,
                one.case_id,
                people,
                f"on the list of {day_words(one.day)}, {one.theatre}, place {one.place}",
            )

    def _tell(
        self, change: Transaction, told: dict[str, list[str]], case_id: int, people: Iterable[str | None], what: str
    ) -> None:
        case = case_in(change.connection, case_id)
        for person in dict.fromkeys((*people, *concerned_in(change.connection, case_id))):
            if person is not None:
                told.setdefault(person, []).append(f"{case.in_words}, is {what}")


def _at(place: Row[Any] | WantedPlace) -> tuple[Any, ...]:
    day = place.day if isinstance(place.day, datetime.date) else datetime.date.fromisoformat(place.day)
    return day, place.theatre, place.session, place.trainee, place.supervisor, place.place


def _is_as(row: Row[Any] | None, one: WantedPlace | None) -> bool:
    return row is not None and one is not None and _at(row) == _at(one)


def _name(change: Transaction, row: Row[Any]) -> tuple[str, str]:
    case = case_in(change.connection, row.case_id)
    return case.in_words, f"changed its place on {day_words(row.day)} meanwhile"
