"""The desk: the one way in between the store and its faces, with the rulebook, the unit, the roster and the clock.

desk = Desk.open("planner.db", rulebook, Path("unit.yaml"), Path("sessions.yaml"))
plan = plan_in_force(desk, desk.store.case_now(case_id))
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

from planner.desk.plans import PlanCache
from planner.errors import PlannerError
from planner.lists.roster.entries import CheckedRoster, check_entries
from planner.lists.roster.shapes import Roster, read_roster
from planner.lists.week.from_records import FromRecords
from planner.local_time import local
from planner.records.repository import utc_now
from planner.records.rows import RosterEntry
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import ApprovalPolicy, Unit, read_unit


class Desk:
    """What every page, paper and command goes through.

    `plans` makes and keeps what is planned of a stored case. `file` is the roster of a sessions file, in force until
    the store holds anything of a roster: the two are never mixed. Raises PlannerError for a trainee of it whom the unit
    does not know.
    """

    def __init__(
        self,
        store: Store,
        rulebook: Rulebook,
        unit: Unit | None = None,
        file: Roster | None = None,
        clock: Callable[[], datetime.datetime] = utc_now,
    ) -> None:
        self.store, self.rulebook, self.unit, self.file, self.clock = store, rulebook, unit, file, clock
        self.plans = PlanCache(rulebook, unit)
        self._stored: tuple[int, tuple[RosterEntry, ...], CheckedRoster] | None = None
        self._lists: tuple[int, FromRecords | None] = (0, None)
        if unit is not None and file is not None:
            self._lists = 0, FromRecords(store, rulebook, unit, file, self.plans.plan)

    @classmethod
    def open(
        cls,
        database: str | None,
        rulebook: Rulebook,
        unit: Path | None = None,
        sessions: Path | None = None,
        create: bool = True,
    ) -> Desk:
        """The desk over a database (a URL or path; None as `Store.open` has it), by a unit's file and a sessions file.

        Raises PlannerError for what cannot be read, and for a sessions file without the unit's.
        """
        known = read_unit(unit, rulebook) if unit else None
        if sessions is not None and known is None:
            why = "stages and counts of operations stand in the unit's file"
            raise PlannerError.one("needs the unit's file beside it", str(sessions), why, "--unit unit.yaml")
        file = read_roster(sessions, known, rulebook) if sessions is not None and known is not None else None
        return cls(Store.open(database, create=create), rulebook, known, file)

    def stored_roster(self, unit: Unit) -> tuple[tuple[RosterEntry, ...], CheckedRoster]:
        """Every entry of the store, and what they make; looked at anew only where something was changed."""
        mark, seen = self.store.roster_mark(), self._stored
        if seen is None or seen[0] != mark:
            entries = self.store.roster()
            # Read after the mark: what came in between is looked at again by the next question.
            seen = self._stored = mark, entries, check_entries(entries, unit, self.rulebook)
        return seen[1:]

    @property
    def lists(self) -> FromRecords | None:
        """The reader of the lists by the roster in force; None without a unit, a roster, or any session in it.

        Asked only where needed: it looks into the store. Raises PlannerError with every fault of the stored roster.
        """
        mark = self.store.roster_mark()
        known, made = self._lists
        if mark != known and self.unit is not None:
            checked = self.stored_roster(self.unit)[1]
            if checked.faults:
                raise PlannerError(list(checked.faults))
            if checked.roster.sessions:
                made = FromRecords(self.store, self.rulebook, self.unit, checked.roster, self.plans.plan, made)
            else:
                made = None
            self._lists = mark, made
        return made

    @property
    def approval_policy(self) -> ApprovalPolicy:
        """The unit's word on who may approve; the strict one without a unit's file."""
        return self.unit.approvals if self.unit else ApprovalPolicy()

    def day_here(self) -> datetime.date:
        """The day by the unit's clock."""
        return local(self.clock()).date()
