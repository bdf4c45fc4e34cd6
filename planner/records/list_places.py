"""Places on lists, one or whole days at once: which approved case, where, in which order, by whom and under whom."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlalchemy import Row

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.case_versions import concerned_in
from planner.records.repository import Repository, checked_text, raise_for
from planner.records.roles import BUILDERS
from planner.records.rows import ListPlace, PlaceLock, WantedPlace
from planner.records.transaction import Transaction, entity, with_endings
from planner.wording.words import day_words

_PLACE = "place on a list"


class ListsChanged(PlannerError):
    """Somebody else changed these lists meanwhile; nothing was kept of what was wanted."""


class ListPlaces(Repository):
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

        `approval` is the one by which the place was judged; another by now is refused. That it stands on that day is
        for the desk to say; here it must not have ended.
        """
        theatre = checked_text(theatre, "theatre", required=True)
        if place < 1:
            raise PlannerError.one(f"{place} is no place on a list", hint="1 for the first case")
        with self._changing(by, *BUILDERS) as change:
            table = schema.allocations
            case = change.case(case_id).in_words
            one = WantedPlace(case_id, day, theatre, place, trainee, supervisor, session, approval)
            approved_by = _approval_for(change, one)
            _refuse_second_place(change, change.open_row(table, case_id))
            same = (table.c.day == day.isoformat(), table.c.theatre == theatre, table.c.place == place)
            if taken := change.connection.execute(with_endings(table, *same, open_only=True)).first():
                other = change.case(taken.case_id).in_words
                what = f"place {place} in {theatre} on {day_words(day)} is taken by {other}"
                raise PlannerError.one(what, hint="another place")
            entered = _put(change, one, approved_by, "put on a list")
            says = f"{case} is on the list of {day_words(day)}, {theatre}, place {place}"
            change.notify((trainee, supervisor, *concerned_in(change, case_id)), says, case_id)
            return entered

    def unallocate(self, allocation_id: int, why: str, by: str) -> ListPlace:
        """Take a case off its list. Raises PlannerError when it is off already."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            table = schema.allocations
            row = change.one_of(table, allocation_id, _PLACE)
            if row.ended_kind is not None:
                raise PlannerError.one(f"it was taken off the list already: {row.ended_why}")
            case = change.case(row.case_id)
            if change.open_row(schema.locks, case.id) is not None:
                raise PlannerError.one(f"{case.in_words}, is locked in its place", hint="unlock it first")
            change.end(table, row, "withdrawn", why, "taken off a list")
            says = f"{case.in_words}, is off the list of {day_words(row.day)}: {why}"
            change.notify((row.trainee, row.supervisor, *concerned_in(change, case.id)), says, case.id)
            return entity(ListPlace, change.one_of(table, allocation_id, _PLACE))

    def allocations(self, case_id: int) -> tuple[ListPlace, ...]:
        """Every place a case has had, the first one first."""
        return self._of_case(ListPlace, schema.allocations, case_id)

    def arrange(
        self, seen: Collection[int], wanted: Sequence[WantedPlace], by: str, why: str = "", although: str = ""
    ) -> int:
        """Bring the lists of some days to `wanted`, in one transaction. Returns how many cases changed their row.

        The days are those of the open places `seen` (their ids, every one on those days) and of `wanted`; a place seen
        and not wanted is taken off, for a reason. What does not change keeps its row. `although` is what the checker
        said against it. Raises ListsChanged where other places stand than those seen, PlannerError for other faults.
        """
        why = checked_text(why, "reason")
        why = f"{why} (entered although: {although})" if although else why
        with self._changing(by, *BUILDERS) as change:
            standing = _as_seen(change, seen, wanted)
            asked = {one.case_id: one for one in wanted}
            if len(asked) < len(wanted):
                raise PlannerError.one("a case stands twice in what is wanted", hint="one place a case")
            leaving = [row for row in standing.values() if not _is_as(row, asked.get(row.case_id))]
            coming = [one for one in wanted if not _is_as(standing.get(one.case_id), one)]
            raise_for([*_locked(change, leaving, asked), *_shared(wanted)])
            if not why and any(row.case_id not in asked for row in leaving):
                raise PlannerError.one("is missing", "reason", "a case comes off its list", "a line that says why")
            says: dict[str, list[str]] = {}
            for row in leaving:
                if row.case_id in asked:
                    change.end(schema.allocations, row, "moved", why or "moved", "moved")
                    continue
                change.end(schema.allocations, row, "withdrawn", why, "taken off a list")
                off = f"off the list of {day_words(row.day)}: {why}"
                _tell(change, says, row.case_id, (row.trainee, row.supervisor), off)
            for one in sorted(coming, key=lambda one: (one.day, one.theatre, one.place)):
                _enter(change, says, one, standing.get(one.case_id))
            for person, lines in says.items():
                change.notify((person,), "; ".join(dict.fromkeys(lines)), None)
            return len({row.case_id for row in leaving} | {one.case_id for one in coming})

    def lock(self, case_id: int, why: str, by: str) -> PlaceLock:
        """Keep a placed case in its session with its people. Raises PlannerError for one without a place, or locked."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            case = change.case(case_id).in_words
            if change.open_row(schema.allocations, case_id) is None:
                raise PlannerError.one(f"{case} has no place to be locked in")
            if change.open_row(schema.locks, case_id) is not None:
                raise PlannerError.one(f"{case} is locked already")
            return change.enter(PlaceLock, schema.locks, "locked in its place", case_id=case_id, why=why)

    def unlock(self, case_id: int, why: str, by: str) -> None:
        """Let a case move again. Raises PlannerError where nothing locks it."""
        why = checked_text(why, "reason", required=True)
        with self._changing(by, *BUILDERS) as change:
            row = change.open_row(schema.locks, case_id)
            if row is None:
                raise PlannerError.one("the case is not locked")
            change.end(schema.locks, row, "withdrawn", why, "unlocked")

    def locks(self) -> tuple[PlaceLock, ...]:
        """Every lock that holds."""
        return self._all(PlaceLock, with_endings(schema.locks, open_only=True))


def _as_seen(change: Transaction, seen: Collection[int], wanted: Sequence[WantedPlace]) -> dict[int, Row[Any]]:
    """The open places of the days, by case. Raises ListsChanged where they are not those seen."""
    table = schema.allocations
    days = {one.day.isoformat() for one in wanted}
    days |= {change.one_of(table, number, _PLACE).day for number in seen}
    rows = change.rows(with_endings(table, table.c.day.in_(sorted(days)), open_only=True))
    others = [row for row in rows if row.id not in seen]
    gone = sorted(set(seen) - {row.id for row in rows})
    ended = change.rows(with_endings(table, table.c.id.in_(gone)))
    if others or ended:
        again = "look at the lists again"
        faults = [Fault(*_name(change, row), f"{row.by} put it there", again) for row in others]
        faults += [Fault(*_name(change, row), f"{row.ended_by}: {row.ended_why}", again) for row in ended]
        raise ListsChanged(faults)
    listed = with_endings(table, table.c.case_id.in_([one.case_id for one in wanted]), open_only=True)
    for row in change.connection.execute(listed):
        _refuse_second_place(change, None if row.id in seen else row)
    return {row.case_id: row for row in rows}


def _locked(change: Transaction, leaving: Iterable[Row[Any]], asked: dict[int, WantedPlace]) -> Iterable[Fault]:
    for row in leaving:
        lock, to = change.open_row(schema.locks, row.case_id), asked.get(row.case_id)
        stays = to is not None and _at(row)[:-1] == _at(to)[:-1]
        if lock is not None and not stays:
            yield Fault(_name(change, row)[0], "is locked in its place", lock.why, "unlock it first")


def _shared(wanted: Sequence[WantedPlace]) -> Iterable[Fault]:
    places: dict[tuple[Any, ...], int] = {}
    for one in wanted:
        where = (one.day, one.theatre, one.session, one.place)
        if one.place < 1:
            yield Fault("", f"{one.place} is no place on a list", hint="1 for the first case")
        if where in places:
            yield Fault("", f"place {one.place} in {one.theatre} on {day_words(one.day)} is wanted twice")
        places[where] = one.case_id


def _refuse_second_place(change: Transaction, listed: Row[Any] | None) -> None:
    if listed is not None:
        case = change.case(listed.case_id).in_words
        raise PlannerError.one(f"{case} is on the list of {day_words(listed.day)} already", hint="take it off first")


def _approval_for(change: Transaction, one: WantedPlace) -> int:
    """The approval by which a case is placed. Raises PlannerError, ListsChanged where another one was judged by."""
    case = change.case(one.case_id).in_words
    approval = change.open_row(schema.approvals, one.case_id)
    if approval is None:
        why = "only what a consultant has approved goes on a list"
        raise PlannerError.one(f"{case} has no approval that stands", why=why)
    if one.approval not in (None, approval.id):
        what = f"{case}, was approved again by {approval.by} meanwhile"
        raise ListsChanged([Fault("", what, "where it may stand was judged by the approval before", "look again")])
    number: int = approval.id
    return number


def _put(change: Transaction, one: WantedPlace, approval: int, what: str) -> ListPlace:
    """Enter the place. Refuses people without an account, and a trainee under themselves."""
    change.known_person(one.supervisor, "supervisor")
    if one.trainee is not None:
        change.known_person(one.trainee, "trainee")
        if one.trainee == one.supervisor:
            raise PlannerError.one(f"{one.trainee} cannot supervise their own operation")
    theatre = checked_text(one.theatre, "theatre", required=True)
    values = vars(one) | {"approval_id": approval, "day": one.day.isoformat(), "theatre": theatre}
    del values["approval"]
    return change.enter(ListPlace, schema.allocations, what, **values)


def _enter(change: Transaction, says: dict[str, list[str]], one: WantedPlace, was: Row[Any] | None) -> None:
    _put(change, one, _approval_for(change, one), "put on a list" if was is None else "moved on a list")
    # Moving up because another came off is nothing to be told of.
    if was is None or _at(was)[:-1] != _at(one)[:-1]:
        people = (one.trainee, one.supervisor, *((was.trainee, was.supervisor) if was is not None else ()))
        where = f"on the list of {day_words(one.day)}, {one.theatre}, place {one.place}"
        _tell(change, says, one.case_id, people, where)


def _tell(
    change: Transaction, says: dict[str, list[str]], case_id: int, people: Iterable[str | None], what: str
) -> None:
    case = change.case(case_id)
    for person in dict.fromkeys((*people, *concerned_in(change, case_id))):
        if person is not None:
            says.setdefault(person, []).append(f"{case.in_words}, is {what}")


def _at(place: Row[Any] | WantedPlace) -> tuple[Any, ...]:
    day = place.day if isinstance(place.day, datetime.date) else datetime.date.fromisoformat(place.day)
    return day, place.theatre, place.session, place.trainee, place.supervisor, place.place


def _is_as(row: Row[Any] | None, one: WantedPlace | None) -> bool:
    return row is not None and one is not None and _at(row) == _at(one)


def _name(change: Transaction, row: Row[Any]) -> tuple[str, str]:
    case = change.case(row.case_id)
    return case.in_words, f"changed its place on {day_words(row.day)} meanwhile"
