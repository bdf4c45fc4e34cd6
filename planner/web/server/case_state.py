"""How a case stands, in words: its state, and when it was saved."""

from __future__ import annotations

from planner.documents.figures import moment
from planner.local_time import local, wall
from planner.records.rows import ApprovalStanding, CaseNow

STATES = {
    "draft": "Draft",
    "sent-back": "Question to answer",
    "submitted": "Waits for approval",
    "approved": "Approved",
    "listed": "Approved, on a list",
    "operated": "Operated",
}
# A change to these ends what a consultant has, or has been given, to decide on.
RESTS_ON_IT = {
    "submitted": "It waits for approval. Saving a change takes it back, to be submitted again.",
    "approved": "It is approved. Saving a change withdraws that approval, and tells whoever gave it.",
    "listed": "It is approved and on a list. Saving a change withdraws the approval, and tells whoever gave it.",
    "operated": "It has been operated on.",
}


LAPSED = "Approval lapsed"


def state_in_words(now: CaseNow, standing: ApprovalStanding | None) -> str:
    """A case's state in words; an approval that no longer stands is not called one."""
    return STATES[now.state] if standing is None or standing.state == "stands" else LAPSED


def rests_on_it(now: CaseNow) -> str:
    return RESTS_ON_IT.get(now.state, "")


def clock_time(at: str) -> str:
    """The time of a stored moment by the unit's clock, `10:32`."""
    return f"{local(at):%H:%M}"


def day_and_time(at: str) -> str:
    """`2 November 2026, 10:32` by the unit's clock."""
    return moment(wall(at))
