"""The store, composed of its parts: what may be entered and read about people, cases, lists and the roster."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import select

from planner.records import backup, schema, verify
from planner.records.approvals import Approvals
from planner.records.case_versions import Cases
from planner.records.database import Database, url_of
from planner.records.export import export
from planner.records.list_places import ListPlaces
from planner.records.list_versions import ListVersions
from planner.records.migrate import bring_up_to_date
from planner.records.outcomes import Notices, Outcomes
from planner.records.overview import Overview
from planner.records.owning import Owning
from planner.records.people import People
from planner.records.repository import utc_now
from planner.records.rostering import Rostering
from planner.records.rows import TrailRow
from planner.records.sign_ins import SignIns
from planner.records.submissions import Snapshots, Submissions
from planner.records.verify import Verified


class Store(
    People, SignIns, Cases, Owning, Snapshots, Submissions, Approvals, ListPlaces, ListVersions, Outcomes,
    Notices, Rostering, Overview,
):  # fmt: skip
    """One store. May be shared by threads; several processes may have the same database open."""

    @classmethod
    def open(
        cls, url: str | None = None, clock: Callable[[], datetime.datetime] = utc_now, create: bool = True
    ) -> Store:
        """Open the database of a URL or path (None: PLANNER_DATABASE_URL, else planner.db in the working folder).

        Makes the tables where there are none, and brings older ones up; without `create` a file must be there. Raises
        PlannerError for a database that cannot be reached, is not this program's, or is a newer version's.
        """
        database = Database(url_of(url), create)
        try:
            bring_up_to_date(database)
        except BaseException:
            database.close()
            raise
        return cls(database, clock)

    @property
    def name(self) -> str:
        """The database as messages call it, without a password."""
        return self._database.name

    def close(self) -> None:
        self._database.close()

    def trail(self, after: int = 0, case_id: int | None = None) -> tuple[TrailRow, ...]:
        """Entries after a sequence number, oldest first; of one case where that is given."""
        table = schema.trail
        query = select(table).where(table.c.sequence > after).order_by(table.c.sequence)
        if case_id is not None:
            query = query.where(table.c.case_id == case_id)
        return self._all(TrailRow, query)

    def verify(self, head: str | None = None) -> Verified:
        """Check trail and rows; `head` is an earlier check's. Raises PlannerError with what was found wrong."""
        return verify.verify(self._database, head)

    def backup(self, stream: BinaryIO) -> int:
        """Write a backup. Returns the number of rows."""
        return backup.write_backup(self._database, stream)

    def export(self, folder: Path) -> int:
        """Write everything ever entered into a new folder. Returns the number of rows. Raises PlannerError."""
        return export(self._database, folder)

    @classmethod
    def restore(cls, url: str | None, stream: BinaryIO, name: str = "backup") -> Verified:
        """Put a backup into an empty database, then check it.

        Raises PlannerError; nothing was put there unless the message is that the trail does not hold.
        """
        database = Database(url_of(url))
        try:
            return backup.restore(database, stream, name)
        finally:
            database.close()
