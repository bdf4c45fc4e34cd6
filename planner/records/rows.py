"""What the store hands out: one frozen row a thing that was entered.

Times are UTC text, `2026-11-02T07:10:00.000000Z`.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from planner.plan.approved import Covers
from planner.records.roles import Role
from planner.wording.words import eye_words

State = Literal["draft", "sent-back", "submitted", "approved", "listed", "operated"]
# A case file's headings and findings as plain JSON values, findings in a mapping of their own under `findings`.
Document = Mapping[str, Any]


@dataclass(frozen=True)
class Person:
    """Somebody with a role code. `trainee_id` is their id in the unit file; `number` counts the changes to this row."""

    code: str
    number: int
    name: str
    role: Role
    trainee_id: str | None
    active: bool
    at: str
    by: str


@dataclass(frozen=True)
class EnteredRow:
    """A row of a table that is only ever added to: its number there, when it was entered (UTC) and by whom (code)."""

    id: int
    at: str
    by: str


@dataclass(frozen=True)
class CaseRow(EnteredRow):
    """One that is about a case."""

    case_id: int


@dataclass(frozen=True)
class StoredCase(EnteredRow):
    """One eye of one patient, under the unit's own reference."""

    reference: str
    eye: str

    @property
    def in_words(self) -> str:
        """Which eye: `A-104, right eye`."""
        return eye_words(self.reference, self.eye)


@dataclass(frozen=True)
class CaseVersion(CaseRow):
    """A case as it stood: the whole document, and the names of what this version changed (headings and findings)."""

    number: int
    document: Document
    changed: tuple[str, ...]

    @property
    def findings(self) -> Mapping[str, Any]:
        findings: Mapping[str, Any] = self.document.get("findings") or {}
        return findings


@dataclass(frozen=True)
class Snapshot(CaseRow):
    """An assessment as it was shown. `assessment` is None where a list leaves it out; `snapshot()` gives it."""

    version: int
    rulebook_id: str
    rulebook_version: str
    rulebook_sha256: str
    engine_version: str
    tier_least: int
    tier_working: int
    tier_most: int
    mode: str | None
    mode_by: str | None
    stage: str | None
    assessment: Document | None


@dataclass(frozen=True)
class Ending:
    """How an approval, a submission, an allocation or a notice ended: `withdrawn`, `lapsed`, `superseded`,
    `sent-back`, `approved` or `seen`."""

    kind: str
    why: str
    at: str
    by: str


@dataclass(frozen=True)
class Seen:
    """What was open about a case when somebody looked, by id: a decision is taken only on what they saw."""

    submission: int | None = None
    approval: int | None = None


NOTHING_OPEN = Seen()


@dataclass(frozen=True)
class Submission(CaseRow):
    """A version put before a consultant. None ended it while it waits."""

    version: int
    snapshot_id: int
    note: str
    ended: Ending | None = None


@dataclass(frozen=True)
class Answer(EnteredRow):
    text: str


@dataclass(frozen=True)
class Question(CaseRow):
    version: int
    text: str
    answers: tuple[Answer, ...] = ()


@dataclass(frozen=True)
class StepChange:
    """A step given to somebody other than the plan says, `who` as the plan writes it, or a free `note` to the step."""

    step: str
    who: str
    note: str = ""


@dataclass(frozen=True)
class StoredApproval(CaseRow):
    """A consultant's decision on one version. Both tiers and both modes are kept, the same or not.

    `covers` says what may be placed by it: `table`, this eye's tier with whoever operates, by the rulebook's table of
    tier by stage; or `as-named`, the stage of its snapshot with this mode and these steps alone.
    """

    version: int
    snapshot_id: int
    tier_by_rulebook: int
    tier_approved: int
    mode_by_rulebook: str | None
    mode_approved: str | None
    step_changes: tuple[StepChange, ...]
    conditions: str
    reason: str
    own_case: bool
    ended: Ending | None = None
    covers: Covers = "as-named"
    operator_conditions: str = ""

    @property
    def every_condition(self) -> str:
        """Both kinds of conditions in one line."""
        return "; ".join(text for text in (self.operator_conditions, self.conditions) if text)


@dataclass(frozen=True)
class ApprovalStanding:
    """Whether an approval may be relied on, and each reason why not."""

    state: Literal["stands", "withdrawn", "lapsed"]
    because: tuple[str, ...] = ()


@dataclass(frozen=True)
class Handover(CaseRow):
    """A case handed to somebody, who has it from then on."""

    to_whom: str
    why: str


@dataclass(frozen=True)
class ListPlace(CaseRow):
    """A place on a list, from 1 in the order of operating; `session` is the roster's id, None without one."""

    approval_id: int
    day: datetime.date
    theatre: str
    place: int
    trainee: str | None
    supervisor: str
    ended: Ending | None = None
    session: str | None = None


@dataclass(frozen=True)
class WantedPlace:
    """Where a case is to stand; `approval` is the one by which that was judged, None where it was not."""

    case_id: int
    day: datetime.date
    theatre: str
    place: int
    trainee: str | None
    supervisor: str
    session: str | None = None
    approval: int | None = None


@dataclass(frozen=True)
class PlaceLock(CaseRow):
    """A case that keeps its session and its people."""

    why: str


@dataclass(frozen=True)
class ListVersion(EnteredRow):
    """A session's list as it was published; `document` is what was written then."""

    day: datetime.date
    session: str
    number: int
    document: Mapping[str, Any]
    note: str


@dataclass(frozen=True)
class OperationOutcome(CaseRow):
    """What happened. `steps` gives who took each step; `corrects` is the earlier outcome this one replaces."""

    day: datetime.date
    operated_by: str
    supervised_by: str | None
    steps: tuple[StepChange, ...]
    complications: tuple[str, ...]
    note: str
    corrects: int | None


@dataclass(frozen=True)
class OperatedEye:
    """An eye that was operated on; `version` is the row of its current version."""

    reference: str
    eye: str
    day: datetime.date
    version: int


@dataclass(frozen=True)
class Notice(EnteredRow):
    """Something a person must hear of."""

    for_whom: str
    case_id: int | None
    text: str
    seen: str | None = None


@dataclass(frozen=True)
class TrailRow:
    """One entry of the trail. `before` and `after` are the rows as they were written, or None."""

    sequence: int
    at: str
    who: str
    what: str
    kept_in: str
    row: str
    case_id: int | None
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None
    previous: str
    hash: str


@dataclass(frozen=True)
class CaseNow:
    """A case as it stands. Snapshots come without their assessments.

    `snapshot` is the last of the current version, `approved_snapshot` what an approval that has not ended rests on;
    `owners` are the author and everybody it was handed to, whoever has it now last.
    """

    case: StoredCase
    version: CaseVersion
    state: State
    snapshot: Snapshot | None
    submission: Submission | None
    approval: StoredApproval | None
    allocation: ListPlace | None
    owners: tuple[str, ...]
    approved_snapshot: Snapshot | None = None

    @property
    def owner(self) -> str:
        return self.owners[-1]

    @property
    def seen(self) -> Seen:
        """What a form made from this carries."""
        return Seen(self.submission.id if self.submission else None, self.approval.id if self.approval else None)


@dataclass(frozen=True)
class SignIn:
    """A signed-in browser, found by the SHA-256 of its token."""

    token_sha256: str
    person: str
    secret: str
    started_at: str
    seen_at: str


@dataclass(frozen=True)
class RosterEntry:
    """One entry of the roster at one version. `document` is as a sessions file has it; `id` is 0 until it is kept."""

    kind: str
    key: str
    document: Mapping[str, Any]
    number: int = 0
    retired: bool = False
    note: str = ""
    at: str = ""
    by: str = ""
    id: int = 0


@dataclass(frozen=True)
class RosterChange:
    """An entry as it should stand; without a document it is retired. `based_on` is the version it was made from."""

    kind: str
    key: str
    based_on: int
    document: Mapping[str, Any] | None
