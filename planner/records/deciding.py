"""What a decision must rest on: the submission or approval that was open when somebody looked is open still."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Table

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.rows import Seen
from planner.records.transaction import ReadTransaction, with_endings

_ENDED = {
    ("submissions", "approved"): "approved it",
    ("submissions", "sent-back"): "sent it back",
    ("submissions", "superseded"): "took it back",
    ("approvals", "withdrawn"): "ended the approval",
    ("approvals", "lapsed"): "found the approval lapsed",
    ("approvals", "superseded"): "approved it again",
}


@dataclass(frozen=True)
class Act:
    """What somebody did about a case: `by` did `what` at a time (UTC); `why` may be empty."""

    by: str
    what: str
    at: str
    why: str = ""

    @property
    def words(self) -> str:
        return f"{self.by} {self.what}" + (f": {self.why}" if self.why else "")


class DecidedMeanwhile(PlannerError):
    """Somebody else decided first, and `acts` says who, what and when; nothing of the second decision was kept."""

    def __init__(self, where: str, acts: Iterable[Act]) -> None:
        self.acts = tuple(acts)
        why, hint = "nothing of this was kept", "look at it as it stands now, then decide"
        super().__init__([Fault(where, f"{act.words}, {minute(act.at)}", why, hint) for act in self.acts])


def acts_since(reading: ReadTransaction, case_id: int, seen: Seen) -> tuple[Act, ...]:
    """What was done about a case's submission and approval since somebody saw these open; nothing where they are still.

    Raises PlannerError for an id that is of no submission or approval of this case.
    """
    acts: dict[tuple[str, str], Act] = {}
    for table, number, now in _open(reading, case_id, seen):
        if (None if now is None else now.id) == number:
            continue
        if number is not None:
            was = next(iter(reading.rows(with_endings(table, table.c.case_id == case_id, table.c.id == number))), None)
            if was is None:
                wrong = f"there is no {table.name[:-1]} {number} of this case"
                raise PlannerError.one(wrong, hint="load the page again")
            # One act may end a submission and begin an approval: what it began says more.
            what = _ENDED[table.name, was.ended_kind]
            why = "" if what.startswith("approved") else was.ended_why
            acts[was.ended_at, was.ended_by] = Act(was.ended_by, what, was.ended_at, why)
        if now is not None:
            what = "submitted it" if table is schema.submissions else f"approved it for tier {now.tier_approved}"
            acts[now.at, now.by] = Act(now.by, what, now.at)
    return tuple(acts[key] for key in sorted(acts))


def require_as_seen(reading: ReadTransaction, case_id: int, seen: Seen) -> None:
    """Raises DecidedMeanwhile where anything was decided since."""
    if acts := acts_since(reading, case_id, seen):
        raise DecidedMeanwhile(reading.case(case_id).in_words, acts)


def require_nothing_unseen(reading: ReadTransaction, case_id: int, seen: Seen) -> None:
    """Raises DecidedMeanwhile where a submission or an approval is open that was not seen; for what would end it."""
    if any(now is not None and now.id != number for _, number, now in _open(reading, case_id, seen)):
        require_as_seen(reading, case_id, seen)


def _open(reading: ReadTransaction, case_id: int, seen: Seen) -> list[tuple[Table, int | None, Row[Any] | None]]:
    """For submissions and for approvals: the table, which one was seen, and which one is open now."""
    both = ((schema.submissions, seen.submission), (schema.approvals, seen.approval))
    return [(table, number, reading.open_row(table, case_id)) for table, number in both]


def minute(at: str) -> str:
    return f"{at[:10]} {at[11:16]} UTC"
