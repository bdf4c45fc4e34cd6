"""A consultant's approval: by name and time, of one version as assessed, with both tiers kept."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, get_args

from sqlalchemy import Row, select

from planner.errors import Fault, PlannerError
from planner.plan.approved import Covers
from planner.records import schema
from planner.records.approval_validity import recorded
from planner.records.case_versions import authors_of, concerned_in, on_list_in, require_current, version_in
from planner.records.deciding import Act, acts_since, require_as_seen
from planner.records.repository import Repository, checked_steps, checked_text, raise_for, steps_json
from planner.records.roles import DECIDERS
from planner.records.rows import NOTHING_OPEN, CaseVersion, Seen, StepChange, StoredApproval
from planner.records.submissions import require_snapshot
from planner.records.transaction import ReadTransaction, Transaction, entity
from planner.unit import ApprovalPolicy

STRICT = ApprovalPolicy()

COVERS: tuple[Covers, ...] = get_args(Covers)


class Approvals(Repository):
    def approve(
        self,
        case_id: int,
        version: int,
        snapshot_id: int,
        by: str,
        tier: int,
        mode: str | None,
        step_changes: Sequence[StepChange] = (),
        conditions: str = "",
        reason: str = "",
        covers: Covers = "as-named",
        operator_conditions: str = "",
        *,
        seen: Seen,
        allowed: ApprovalPolicy = STRICT,
    ) -> StoredApproval:
        """Approve the current version for a tier, a supervision mode, and the steps as planned or as changed.

        `covers` is what may be placed by it; one for the table changes no step and sets no condition on the operator.
        A reason is required where any of the three differs from the rulebook's. `seen` says which submission was
        decided on, which ends, and over which approval, which is superseded; `allowed` who may approve in this unit.
        Raises DecidedMeanwhile where somebody else was quicker, PlannerError for one who may not approve this case.
        """
        conditions, reason = checked_text(conditions, "conditions"), checked_text(reason, "reason")
        operator_conditions = checked_text(operator_conditions, "conditions on the operator")
        steps = checked_steps(step_changes)
        if covers not in COVERS:
            raise PlannerError.one(
                f"{covers!r} is nothing that an approval covers", hint=f"one of: {', '.join(COVERS)}"
            )
        if covers == "table" and (steps or operator_conditions):
            what = "steps in other hands" if steps else "conditions on the operator"
            raise PlannerError.one(f"{what} hold only as named, and the table is asked for", hint="approve it as named")
        if tier < 1:
            raise PlannerError.one(f"{tier} is not a tier")
        with self._changing(by, *DECIDERS, signed=True) as change:
            require_as_seen(change, case_id, seen)
            if seen == NOTHING_OPEN:
                hint = "whoever prepares it submits it first"
                raise PlannerError.one("the case does not wait for approval", hint=hint)
            require_current(change, case_id, version)
            raise_for(_faults_against(change, case_id, by, allowed))
            snapshot = require_snapshot(change, snapshot_id, case_id, version)
            differs = [("tier", tier != snapshot.tier_working), ("supervision", mode != snapshot.mode)]
            named = [name for name, is_so in [*differs, ("steps", bool(steps))] if is_so]
            if named and not reason:
                what = f"{' and '.join(named)} as approved differ from the rulebook's, and no reason is given"
                raise PlannerError.one(what, "reason", hint="one line that says why")
            submitted = change.open_rows(schema.submissions, case_id)
            authors = authors_of(change, case_id)
            for row in submitted:
                change.end(schema.submissions, row, "approved", f"approved by {by}", "submission approved")
            for row in change.open_rows(schema.approvals, case_id):
                change.end(schema.approvals, row, "superseded", f"approved again by {by}", "approval superseded")
                _tell_superseded(change, row, tier)
            approval = change.enter(
                StoredApproval,
                schema.approvals,
                "approved",
                case_id=case_id,
                version=version,
                snapshot_id=snapshot_id,
                tier_by_rulebook=snapshot.tier_working,
                tier_approved=tier,
                mode_by_rulebook=snapshot.mode,
                mode_approved=mode,
                step_changes=steps_json(steps),
                conditions=conditions,
                reason=reason,
                own_case=int(by in authors or by in [row.by for row in submitted]),
                covers=covers,
                operator_conditions=operator_conditions or None,
            )
            case = change.case(case_id)
            more = f", on conditions: {approval.every_condition}" if approval.every_condition else ""
            says = f"{case.in_words}, was approved by {by} for tier {tier}{more}"
            change.notify([*(row.by for row in submitted), *concerned_in(change, case_id)], says, case_id)
            return approval

    def may_not_approve(self, case_id: int, by: str, allowed: ApprovalPolicy = STRICT) -> tuple[Fault, ...]:
        """Why somebody may not approve a case as it stands, with what to do; nothing where they may."""
        with self._reading() as reading:
            return tuple(_faults_against(reading, case_id, by, allowed))

    def decided_since(self, case_id: int, seen: Seen) -> tuple[Act, ...]:
        """What was decided about a case since somebody saw these open. Raises PlannerError for ids of another case."""
        with self._reading() as reading:
            return acts_since(reading, case_id, seen)

    def withdraw(self, approval_id: int, why: str, by: str) -> StoredApproval:
        """Withdraw an approval that stands; a consultant's to do. Raises DecidedMeanwhile where it stands no longer."""
        return self._ended(approval_id, "withdrawn", checked_text(why, "reason", required=True), by, *DECIDERS)

    def lapse(self, approval_id: int, why: str, by: str) -> StoredApproval:
        """Enter that an approval has lapsed, which `standing` found and says in its own words. Raises PlannerError."""
        return self._ended(approval_id, "lapsed", why, by)

    def approval(self, approval_id: int) -> StoredApproval:
        """Raises PlannerError where there is none."""
        with self._reading() as reading:
            return entity(StoredApproval, reading.one_of(schema.approvals, approval_id, "approval"))

    def approvals(self, case_id: int) -> tuple[StoredApproval, ...]:
        """Every approval of a case, ended or not, the first one first."""
        return self._of_case(StoredApproval, schema.approvals, case_id)

    def _ended(self, approval_id: int, kind: str, why: str, by: str, *roles: str) -> StoredApproval:
        with self._changing(by, *roles) as change:
            table = schema.approvals
            row = change.one_of(table, approval_id, "approval")
            submitted = change.open_row(schema.submissions, row.case_id)
            require_as_seen(change, row.case_id, Seen(submitted.id if submitted else None, approval_id))
            change.end(table, row, kind, why, f"approval {kind}")
            says = f"{change.case(row.case_id).in_words}: the approval by {row.by} is {kind}: {why}"
            people = (*concerned_in(change, row.case_id), row.by, *on_list_in(change, row.case_id))
            change.notify(people, says, row.case_id)
            return entity(StoredApproval, change.one_of(table, approval_id, "approval"))


def _tell_superseded(change: Transaction, row: Row[Any], tier: int) -> None:
    says = (
        f"{change.case(row.case_id).in_words}: the approval by {row.by} for tier {row.tier_approved} "
        f"is superseded: {change.by} approved it again, for tier {tier}"
    )
    people = [row.by, *on_list_in(change, row.case_id)]
    change.notify([person for person in people if person != change.by], says, row.case_id)


def _faults_against(reading: ReadTransaction, case_id: int, by: str, allowed: ApprovalPolicy) -> list[Fault]:
    """Why somebody may not approve the case as it stands, with what to do; nothing where they may."""
    case, version = reading.case(case_id), version_in(reading, case_id)
    entered = recorded(version) | ({"none_found_in"} if version.document.get("none_found_in") else set())
    where, faults = case.in_words, []
    if not entered and not allowed.nothing_recorded:
        why = "an approval would rest on nothing"
        hint = "send it back to be examined; or the unit's file allows it, approvals: {nothing_recorded: yes}"
        faults.append(Fault(where, "nothing is recorded of this eye", why, hint))
    hands = _hands(reading, version, entered, by)
    if hands and not allowed.own_case:
        hint = "another consultant decides; or the unit's file allows it, approvals: {own_case: yes}"
        faults.append(Fault(where, f"{by} may not approve their own work", f"they {' and '.join(hands)}", hint))
    return faults


def _hands(reading: ReadTransaction, version: CaseVersion, names: set[str], person: str) -> list[str]:
    """What somebody did themselves of what is to be approved. `names` are the findings in it."""
    versions, submissions = schema.case_versions, schema.submissions
    entered: dict[str, str] = {}
    saved = select(versions.c.by, versions.c.changed).where(versions.c.case_id == version.case_id)
    for row in reading.connection.execute(saved.order_by(versions.c.number)):
        entered |= dict.fromkeys(json.loads(row.changed), row.by)
    own = sum(entered.get(name) == person for name in names)
    same: Any = (submissions.c.case_id == version.case_id, submissions.c.version == version.number)
    submitted = set(reading.connection.scalars(select(submissions.c.by).where(*same)))
    said = {
        "saved the version that would be approved": version.by == person,
        f"entered {own} of its {len(names)} findings": own > 0,
        "submitted it": person in submitted,
    }
    return [words for words, holds in said.items() if holds]
