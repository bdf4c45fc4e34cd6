"""Whose turn it is: how urgent a case is, how long it has waited, by when it is needed, and what is past its date.

The order is by clinical urgency, then by waiting; what is past its date comes before all others.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from planner.lists.roster.shapes import Limits
from planner.wording.words import day_words

# The most urgent first; not recorded stands before what is said to be the least.
URGENCIES = ("urgent", "soon", None, "routine")


@dataclass(frozen=True)
class Waiting:
    """`since` is the date of listing where `listed`, else the day recorded; `last_day` the deadline, and why it is."""

    urgency: str | None
    since: datetime.date | None
    listed: bool
    last_day: datetime.date | None
    why_then: str

    @property
    def counted(self) -> str:
        """`listed`, or where there is no date of listing `recorded`."""
        return "listed" if self.listed else "recorded"

    def turn(self, past: bool) -> tuple[object, ...]:
        """The least comes first. Who has no day to count from may have waited longest, and is not put behind others."""
        since, last = self.since or datetime.date.min, self.last_day or datetime.date.max
        return not past, URGENCIES.index(self.urgency), since, last

    def words(self, on: datetime.date, past: bool) -> str:
        """`12 days past its date: needed by 19 November 2026; waiting 40 days since listed` on a day."""
        said = self.why_then or self.urgency or "urgency not recorded"
        if past and self.last_day is not None:
            late = (on - self.last_day).days
            said = f"{days(late)} past its date: {said}" if late > 0 else f"no session left in time: {said}"
        if self.since is None:
            return f"{said}; no day that waiting counts from"
        if self.since > on:
            return f"{said}; {self.counted} on {day_words(self.since)}, later than {day_words(on)}"
        return f"{said}; waiting {days((on - self.since).days)} since {self.counted}"


def waiting(
    urgency: object,
    needed_by: object,
    listed_on: datetime.date | None,
    recorded_on: datetime.date | None,
    limits: Limits | None = None,
) -> Waiting:
    """From the two findings and two headings of a case, and the unit's own targets."""
    said = urgency if isinstance(urgency, str) and urgency in URGENCIES else None
    since = listed_on or recorded_on
    ends = [(needed_by, f"needed by {day_words(needed_by)}")] if isinstance(needed_by, datetime.date) else []
    allowed = {str(name): days for name, days in limits.within_days.items()}.get(said or "") if limits else None
    if allowed is not None and since is not None:
        counted = (
            f"listed on {day_words(since)}" if listed_on else f"recorded on {day_words(since)} (no date of listing)"
        )
        last = since + datetime.timedelta(days=allowed)
        ends.append((last, f"{said}, so within {allowed} days of being {counted}"))
    last_day, why = min(ends, default=(None, ""))
    return Waiting(said, since, listed_on is not None, last_day, why)


def days(count: int) -> str:
    """`1 day`, `12 days`."""
    return f"{count} day{'' if count == 1 else 's'}"
