"""Which roster is in force: the one that the store holds, else the sessions file that the program was given."""

from __future__ import annotations

from planner.errors import PlannerError
from planner.lists.roster.entries import CheckedRoster, check_entries
from planner.lists.roster.shapes import Roster
from planner.lists.week.from_records import FromRecords, Planned
from planner.records.rows import RosterEntry
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit


class RosterInForce:
    """The roster in force for as long as a program runs; every question sees the last change.

    Once the store holds anything of a roster, a sessions file is no longer asked: the two are never mixed.
    """

    def __init__(
        self, store: Store, rulebook: Rulebook, unit: Unit | None, file: Roster | None, planned: Planned
    ) -> None:
        """Raises PlannerError for a trainee of the sessions file whom the unit does not know."""
        self.store, self.rulebook, self.unit, self.file, self._planned = store, rulebook, unit, file, planned
        self._seen: tuple[int, tuple[RosterEntry, ...], CheckedRoster] | None = None
        self._made: tuple[int, FromRecords | None] = (0, None)
        if unit is not None and file is not None:
            self._made = 0, FromRecords(store, rulebook, unit, file, planned)

    def stored(self, unit: Unit) -> tuple[tuple[RosterEntry, ...], CheckedRoster]:
        """Every entry of the store, and what they make; looked at anew only where something was changed."""
        mark = self.store.roster_mark()
        seen = self._seen
        if seen is None or seen[0] != mark:
            entries = self.store.roster()
            # Read after the mark: what came in between is looked at again by the next question.
            seen = self._seen = mark, entries, check_entries(entries, unit, self.rulebook)
        return seen[1], seen[2]

    def lists(self) -> FromRecords | None:
        """The reader of the lists by the roster in force; None without a unit, a roster, or any session in it.

        Raises PlannerError with every fault of the stored roster.
        """
        mark = self.store.roster_mark()
        known, made = self._made
        if mark != known and self.unit is not None:
            checked = self.stored(self.unit)[1]
            if checked.faults:
                raise PlannerError(list(checked.faults))
            if checked.roster.sessions:
                made = FromRecords(self.store, self.rulebook, self.unit, checked.roster, self._planned, made)
            else:
                made = None
            self._made = mark, made
        return made
