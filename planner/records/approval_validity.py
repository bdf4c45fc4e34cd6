"""Whether an approval may still be relied on, and until when: what it rested on has neither changed nor aged."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import cast

from planner.case import STAGES, Stage
from planner.plan.approved import ApprovedScope
from planner.plan.plan import Hands
from planner.readings import read_day
from planner.records.rows import ApprovalStanding, CaseNow, CaseVersion, Snapshot, StoredApproval
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import Mode
from planner.vocabulary import NOT_RECORDED
from planner.wording.words import day_words


def approval_standing(
    approval: StoredApproval,
    snapshot: Snapshot,
    approved: CaseVersion,
    current_version: int,
    on: datetime.date,
    validity: Mapping[str, int],
    rulebook_sha256: str,
    label: Callable[[str], str] = str,
) -> ApprovalStanding:
    """How the approval stands on a day.

    `snapshot` and `approved` are what was approved; `validity` gives for dated findings the days that they hold, and
    `label` says such a finding; `rulebook_sha256` is of the rulebook in use. A date not recorded was not recorded when
    it was approved, too.
    """
    if approval.ended is not None:
        return ApprovalStanding("lapsed" if approval.ended.kind == "lapsed" else "withdrawn", (approval.ended.why,))
    reasons = []
    if approval.version != current_version:
        reasons.append(f"the case has changed: version {current_version} follows the approved {approval.version}")
    if snapshot.rulebook_sha256 != rulebook_sha256:
        reasons.append(f"the rulebook has changed since {snapshot.rulebook_version}")
    for finding, (measured, days) in _measured(approved, validity).items():
        age, what = (on - measured).days, f"{label(finding)} {day_words(measured)} is"
        if age > days:
            reasons.append(f"{what} {age} days old on {day_words(on)}, and holds for {days}")
        elif age < 0:
            # A year mistyped would else hold for years.
            reasons.append(f"{what} later than {day_words(on)}: nothing was measured then yet")
    return ApprovalStanding("lapsed", tuple(reasons)) if reasons else ApprovalStanding("stands")


@dataclass(frozen=True)
class Validity:
    """How a case's approval stands on a day, None where it has none; `ahead` are the labels of dates later than it.

    `until` is the last day on which nothing that was measured has aged, and which date says so; None without a date.
    """

    standing: ApprovalStanding | None
    ahead: tuple[str, ...]
    until: tuple[datetime.date, str] | None

    @property
    def stands(self) -> bool:
        return self.standing is not None and self.standing.state == "stands"


def validity_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> Validity:
    """The same of a case as it stands, in the vocabulary's own words."""
    # A change ends an approval, so the version approved is the current one.
    version, labels = now.version, {finding.id: finding.label for finding in rulebook.vocabulary.findings}
    holds = rulebook.vocabulary.validity(recorded(version))
    dates = [(labels[name], *dated) for name, dated in _measured(version, holds).items()]
    standing = None
    if now.approval is not None and now.approved_snapshot is not None:
        standing = approval_standing(
            now.approval, now.approved_snapshot, version, version.number, on, holds, rulebook.sha256, labels.__getitem__
        )  # fmt: skip
    ahead = tuple(label for label, measured, _ in dates if measured > on)
    until = min(((_last_day(measured, days), label) for label, measured, days in dates), default=None)
    return Validity(standing, ahead, until)


def standing_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> ApprovalStanding | None:
    """How a case's approval stands on a day; None where it has none."""
    return validity_on(now, on, rulebook).standing


def stands_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> bool:
    """Whether a case has an approval that stands on a day."""
    return validity_on(now, on, rulebook).stands


def holds_until(now: CaseNow, rulebook: Rulebook) -> tuple[datetime.date, str] | None:
    """The last day on which nothing that was measured has aged, and which date says so."""
    return validity_on(now, datetime.date.min, rulebook).until


def given_in(now: CaseNow, rulebook: Rulebook) -> ApprovedScope | None:
    """What the approval of a case gives, whether or not it stands; None where there is none."""
    approval, snapshot = now.approval, now.approved_snapshot
    if approval is None:
        return None
    named = [snapshot.stage if snapshot else None, now.version.document.get("planned_stage")]
    stage = next((name for name in named if name in STAGES), rulebook.stages.default_stage)
    # A change may be a note alone, which puts the step in nobody else's hands.
    who = {change.step: cast(Hands, change.who) for change in approval.step_changes if change.who}
    mode = cast(Mode | None, approval.mode_approved)
    return ApprovedScope(approval.covers, approval.tier_approved, cast(Stage, stage), mode, who)


def _last_day(measured: datetime.date, days: int) -> datetime.date:
    # A year mistyped may be the last that there is.
    return datetime.date.fromordinal(min(measured.toordinal() + days, datetime.date.max.toordinal()))


def recorded(version: CaseVersion) -> set[str]:
    """The findings of a version of which anything is recorded."""
    return {name for name, value in version.findings.items() if value not in NOT_RECORDED}


def _measured(version: CaseVersion, validity: Mapping[str, int]) -> dict[str, tuple[datetime.date, int]]:
    """Of those dated findings that are recorded, the day and the days that it holds."""
    days = {name: read_day(version.findings.get(name)) for name in validity}
    return {name: (day, validity[name]) for name, day in days.items() if day is not None}
