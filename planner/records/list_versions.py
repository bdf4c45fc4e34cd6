"""Lists as they were published: each version whole, so that any paper can be held against what stands now."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import ColumnElement, select

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.deciding import minute
from planner.records.repository import Repository, checked_text
from planner.records.roles import BUILDERS
from planner.records.rows import ListVersion
from planner.records.trail import canonical
from planner.records.transaction import entity


class PublishedMeanwhile(PlannerError):
    """Somebody else published the list first; `last` is their version, and nothing of this one was kept."""

    def __init__(self, last: ListVersion) -> None:
        self.last = last
        what = f"{last.by} published version {last.number}, {minute(last.at)}"
        why, hint = "nothing of this was kept", "look at the list as it stands now, then publish it"
        super().__init__([Fault(f"{last.session} on {last.day}", what, why, hint)])


class ListVersions(Repository):
    def publish(
        self,
        day: datetime.date,
        session: str,
        document: Mapping[str, Any],
        by: str,
        note: str = "",
        told: Mapping[str, str] | None = None,
        *,
        after: int,
    ) -> ListVersion:
        """Keep a session's list as its next version. `told` gives each person the notice that they are left.

        `after` is the number of the last version that whoever publishes it saw, 0 for none; where another followed,
        raises PublishedMeanwhile. The same list again, with nothing new to note, is no new version: the last is given.
        """
        note = checked_text(note, "note")
        table = schema.list_versions
        with self._changing(by, *BUILDERS) as change:
            row = change.last_row(table, table.c.day == day.isoformat(), table.c.session == session)
            last, kept = None if row is None else entity(ListVersion, row), canonical(document)
            if last is not None and last.number != after:
                raise PublishedMeanwhile(last)
            if last is None and after:
                raise PlannerError.one(f"{session} has no version {after}", hint="load the page again")
            if row is not None and last is not None and row.document == kept and note in ("", last.note):
                return last
            values = {"day": day.isoformat(), "session": session, "number": after + 1, "document": kept, "note": note}
            published = change.enter(ListVersion, table, "list published", **values)
            for person, text in (told or {}).items():
                change.notify((person,), text, None)
            return published

    def list_versions(self, day: datetime.date, session: str) -> tuple[ListVersion, ...]:
        """Every version of a session's list, the first one first."""
        table = schema.list_versions
        query = select(table).where(table.c.day == day.isoformat(), table.c.session == session).order_by(table.c.number)
        return self._all(ListVersion, query)

    def editions(self, sessions: Iterable[str], on: datetime.date) -> tuple[ListVersion, ...]:
        """Every version of these sessions, whatever day they were held, and of all that have one from a day on."""
        table = schema.list_versions
        coming = select(table.c.session).where(table.c.day >= on.isoformat())
        query = select(table).where(table.c.session.in_(list(sessions)) | table.c.session.in_(coming))
        return self._all(ListVersion, query.order_by(table.c.id))

    def published(self, days: Iterable[datetime.date]) -> dict[tuple[datetime.date, str], ListVersion]:
        """The last version of each session of these days, by day and session."""
        return self._last(schema.list_versions.c.day.in_([day.isoformat() for day in days]))

    def published_before(self, day: datetime.date) -> dict[tuple[datetime.date, str], ListVersion]:
        """The same of every earlier day."""
        return self._last(schema.list_versions.c.day < day.isoformat())

    def _last(self, of: ColumnElement[bool]) -> dict[tuple[datetime.date, str], ListVersion]:
        query = select(schema.list_versions).where(of).order_by(schema.list_versions.c.number)
        return {(version.day, version.session): version for version in self._all(ListVersion, query)}
