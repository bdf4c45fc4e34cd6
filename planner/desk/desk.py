"""The desk: the one way in between the store and its faces, with the rulebook, the unit, the roster and the clock.

desk = Desk.open("planner.db", rulebook, Path("unit.yaml"), Path("sessions.yaml"))
plan = plan_in_force(desk, desk.store.case_now(case_id))
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

from planner.desk.plans import PlanCache
from planner.desk.roster_in_force import RosterInForce
from planner.errors import PlannerError
from planner.lists.roster.shapes import Roster, read_roster
from planner.lists.week.from_records import FromRecords
from planner.local_time import local
from planner.records.repository import utc_now
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import ApprovalPolicy, Unit, read_unit


class Desk:
    """What every page, paper and command goes through.

    `plans` makes and keeps what is planned of a stored case; `roster` answers which roster is in force. `file` is the
    roster of a sessions file. Raises PlannerError for a trainee of it whom the unit does not know.
    """

    def __init__(
        self,
        store: Store,
        rulebook: Rulebook,
        unit: Unit | None = None,
        file: Roster | None = None,
        clock: Callable[[], datetime.datetime] = utc_now,
    ) -> None:
        self.store, self.rulebook, self.unit, self.clock = store, rulebook, unit, clock
        self.plans = PlanCache(rulebook, unit)
        self.roster = RosterInForce(store, rulebook, unit, file, self.plans.plan)

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

    @property
    def lists(self) -> FromRecords | None:
        """The reader of the lists by the roster in force; None where there is none. Raises PlannerError.

        Asked only where it is needed, since it looks into the store.
        """
        return self.roster.lists()

    @property
    def approval_policy(self) -> ApprovalPolicy:
        """The unit's word on who may approve; the strict one without a unit's file."""
        return self.unit.approvals if self.unit else ApprovalPolicy()

    def day_here(self) -> datetime.date:
        """The day by the unit's clock."""
        return local(self.clock()).date()
