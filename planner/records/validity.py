"""Whether an approval may still be relied on, and until when: what it rested on has neither changed nor aged."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import cast

from planner.case import STAGES, Stage
from planner.plan.approved import Given, Who
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


def standing_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> ApprovalStanding | None:
    """How a case's approval stands on a day, in the vocabulary's own words; None where it has none."""
    if now.approval is None or now.approved_snapshot is None:
        return None
    # A change ends an approval, so the version approved is the current one.
    version = now.version
    return approval_standing(
        now.approval, now.approved_snapshot, version, version.number, on, _validity(version, rulebook), rulebook.sha256,
        lambda name: rulebook.vocabulary.by_id[name].label,
    )  # fmt: skip


def stands_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> bool:
    """Whether a case has an approval that stands on a day."""
    standing = standing_on(now, on, rulebook)
    return standing is not None and standing.state == "stands"


def given_in(now: CaseNow, rulebook: Rulebook) -> Given | None:
    """What the approval of a case gives, whether or not it stands; None where there is none."""
    approval, snapshot = now.approval, now.approved_snapshot
    if approval is None:
        return None
    named = [snapshot.stage if snapshot else None, now.version.document.get("planned_stage")]
    stage = next((name for name in named if name in STAGES), rulebook.stages.default_stage)
    # A change may be a note alone, which puts the step in nobody else's hands.
    who = {change.step: cast(Who, change.who) for change in approval.step_changes if change.who}
    mode = cast(Mode | None, approval.mode_approved)
    return Given(approval.covers, approval.tier_approved, cast(Stage, stage), mode, who)


def dated_ahead(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> tuple[str, ...]:
    """The labels of dates later than a day: nothing can have been measured then yet."""
    dates = _measured(now.version, _validity(now.version, rulebook))
    return tuple(rulebook.vocabulary.by_id[name].label for name, (measured, _) in dates.items() if measured > on)


def holds_until(now: CaseNow, rulebook: Rulebook) -> tuple[datetime.date, str] | None:
    """The last day on which nothing that was measured has aged, and which date says so; None without such a date."""
    dates, labels = _measured(now.version, _validity(now.version, rulebook)), rulebook.vocabulary.by_id
    ends = ((day + datetime.timedelta(days), labels[name].label) for name, (day, days) in dates.items())
    return min(ends, default=None)


def recorded(version: CaseVersion) -> set[str]:
    """The findings of a version of which anything is recorded."""
    return {name for name, value in version.findings.items() if value not in NOT_RECORDED}


def _validity(version: CaseVersion, rulebook: Rulebook) -> dict[str, int]:
    return rulebook.vocabulary.validity(recorded(version))


def _measured(version: CaseVersion, validity: Mapping[str, int]) -> dict[str, tuple[datetime.date, int]]:
    """Of those dated findings that are recorded, the day and the days that it holds."""
    days = {name: read_day(version.findings.get(name)) for name in validity}
    return {name: (day, validity[name]) for name, day in days.items() if day is not None}
