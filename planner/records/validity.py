"""Whether an approval may still be relied on: what it rested on has neither changed nor aged."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from planner.records.rows import ApprovalStanding, CaseNow, CaseVersion, Snapshot, StoredApproval
from planner.wording.words import day_words


def approval_standing(
    approval: StoredApproval,
    snapshot: Snapshot,
    approved: CaseVersion,
    current_version: int,
    on: datetime.date,
    validity: Mapping[str, int],
    rulebook_sha256: str,
) -> ApprovalStanding:
    """How the approval stands on a day.

    `snapshot` and `approved` are what was approved; `validity` gives for dated findings the days that they hold;
    `rulebook_sha256` is of the rulebook in use. A date not recorded was not recorded when it was approved, too.
    """
    if approval.ended is not None:
        return ApprovalStanding("lapsed" if approval.ended.kind == "lapsed" else "withdrawn", (approval.ended.why,))
    reasons = []
    if approval.version != current_version:
        reasons.append(f"the case has changed: version {current_version} follows the approved {approval.version}")
    if snapshot.rulebook_sha256 != rulebook_sha256:
        reasons.append(f"the rulebook has changed since {snapshot.rulebook_version}")
    for finding, days in validity.items():
        measured = _day(approved.findings.get(finding))
        if measured is None:
            continue
        age = (on - measured).days
        if age > days:
            reasons.append(
                f"{finding} {day_words(measured)} is {age} days old on {day_words(on)}, and holds for {days}"
            )
        elif age < 0:
            # A year mistyped would else hold for years.
            reasons.append(
                f"{finding} {day_words(measured)} is later than {day_words(on)}: nothing was measured then yet"
            )
    return ApprovalStanding("lapsed", tuple(reasons)) if reasons else ApprovalStanding("stands")


def standing_now(
    now: CaseNow, on: datetime.date, validity: Mapping[str, int], rulebook_sha256: str
) -> ApprovalStanding | None:
    """How the approval of a case stands on a day, None where it has none that has not ended."""
    if now.approval is None or now.approved_snapshot is None:
        return None
    # A change ends an approval, so the version approved is the current one.
    version = now.version
    return approval_standing(
        now.approval, now.approved_snapshot, version, version.number, on, validity, rulebook_sha256
    )  # fmt: skip


def _day(value: object) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(str(value))
    except ValueError:
        return None
