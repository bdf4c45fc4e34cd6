"""A consultant's approval: by name and time, of one version as assessed, with both tiers kept."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from sqlalchemy import Row, select

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.approvers import faults_against
from planner.records.case_versions import authors_of, case_in, concerned_in, on_list_in, require_current, version_in
from planner.records.deciding import Act, acts_since, require_as_seen
from planner.records.repository import (
    Repository,
    checked_steps,
    checked_text,
    end,
    ending_of,
    notify,
    one_of,
    open_rows,
    raise_for,
    steps_json,
    steps_of,
    with_endings,
)
from planner.records.rows import NOTHING_OPEN, ApprovalStanding, Covers, Seen, StepChange, StoredApproval
from planner.records.snapshots import snapshot_of
from planner.records.submissions import require_snapshot
from planner.records.trail import Transaction, canonical
from planner.records.validity import approval_standing
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

        `covers` is what may be placed by it. One for the table changes no step and sets no condition on the operator.
        A reason is required where any of the three differs from the rulebook's. `seen` says which submission was
        decided on, and over which approval, if any: the submission ends, the approval is superseded, and whoever gave
        it is told. `allowed` is the unit's word on who may approve. Raises DecidedMeanwhile where somebody else was
        quicker, PlannerError for anybody but a consultant, and for one who may not approve this case.
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
        with self._changing(by, "consultant") as change:
            self._as_person(by)
            connection = change.connection
            require_as_seen(connection, case_id, seen)
            if seen == NOTHING_OPEN:
                hint = "whoever prepares it submits it first"
                raise PlannerError.one("the case does not wait for approval", hint=hint)
            require_current(connection, case_id, version)
            raise_for(faults_against(connection, case_id, by, allowed))
            snapshot = require_snapshot(connection, snapshot_id, case_id, version)
            differs = [("tier", tier != snapshot.tier_working), ("supervision", mode != snapshot.mode)]
            named = [name for name, is_so in [*differs, ("steps", bool(steps))] if is_so]
            if named and not reason:
                what = f"{' and '.join(named)} as approved differ from the rulebook's, and no reason is given"
                raise PlannerError.one(what, "reason", hint="one line that says why")
            submitted = open_rows(connection, schema.submissions, case_id)
            authors = authors_of(connection, case_id)
            for row in submitted:
                end(change, schema.submissions, row, "approved", f"approved by {by}", "submission approved")
            for row in open_rows(connection, schema.approvals, case_id):
                end(change, schema.approvals, row, "superseded", f"approved again by {by}", "approval superseded")
                self._tell_superseded(change, row, tier)
            values = {
                "case_id": case_id,
                "version": version,
                "snapshot_id": snapshot_id,
                "tier_by_rulebook": snapshot.tier_working,
                "tier_approved": tier,
                "mode_by_rulebook": snapshot.mode,
                "mode_approved": mode,
                "step_changes": canonical(steps_json(steps)),
                "conditions": conditions,
                "reason": reason,
                "own_case": int(by in authors or by in [row.by for row in submitted]),
                "covers": covers,
                "operator_conditions": operator_conditions or None,
            }
            approval = _approval_in(connection, change.insert(schema.approvals, "approved", values, case_id)["id"])
            case = case_in(connection, case_id)
            more = f", on conditions: {approval.every_condition}" if approval.every_condition else ""
            told = f"{case.in_words}, was approved by {by} for tier {tier}{more}"
            notify(change, [*(row.by for row in submitted), *concerned_in(connection, case_id)], told, case_id)
            return approval

    def may_not_approve(self, case_id: int, by: str, allowed: ApprovalPolicy = STRICT) -> tuple[Fault, ...]:
        """Why somebody may not approve a case as it stands, with what to do; nothing where they may."""
        with self._database.reading() as connection:
            return tuple(faults_against(connection, case_id, by, allowed))

    def decided_since(self, case_id: int, seen: Seen) -> tuple[Act, ...]:
        """What was decided about a case since somebody saw these open. Raises PlannerError for ids of another case."""
        with self._database.reading() as connection:
            return acts_since(connection, case_id, seen)

    def withdraw(self, approval_id: int, why: str, by: str) -> StoredApproval:
        """Withdraw an approval that stands; a consultant's to do. Raises DecidedMeanwhile where it stands no longer."""
        return self._ended(approval_id, "withdrawn", checked_text(why, "reason", required=True), by, "consultant")

    def lapse(self, approval_id: int, why: str, by: str) -> StoredApproval:
        """Enter that an approval has lapsed, which `standing` found and says in its own words. Raises PlannerError."""
        return self._ended(approval_id, "lapsed", why, by)

    def approval(self, approval_id: int) -> StoredApproval:
        """Raises PlannerError where there is none."""
        with self._database.reading() as connection:
            return _approval_in(connection, approval_id)

    def approvals(self, case_id: int) -> tuple[StoredApproval, ...]:
        """Every approval of a case, ended or not, the first one first."""
        query = with_endings(schema.approvals, schema.approvals.c.case_id == case_id)
        with self._database.reading() as connection:
            return tuple(approval_of(row) for row in connection.execute(query))

    def standing(
        self, approval_id: int, on: datetime.date, validity: Mapping[str, int], rulebook_sha256: str
    ) -> ApprovalStanding:
        """How an approval stands on a day; see `approval_standing`. Raises PlannerError where there is none."""
        with self._database.reading() as connection:
            approval = _approval_in(connection, approval_id)
            brief = [column for column in schema.snapshots.columns if column.name != "assessment"]
            held = connection.execute(select(*brief).where(schema.snapshots.c.id == approval.snapshot_id)).one()
            approved = version_in(connection, approval.case_id, approval.version)
            current = version_in(connection, approval.case_id).number
        return approval_standing(approval, snapshot_of(held), approved, current, on, validity, rulebook_sha256)

    def _ended(self, approval_id: int, kind: str, why: str, by: str, *roles: str) -> StoredApproval:
        with self._changing(by, *roles) as change:
            case_id = one_of(change.connection, schema.approvals, approval_id, "approval").case_id
            submitted = next(iter(open_rows(change.connection, schema.submissions, case_id)), None)
            require_as_seen(change.connection, case_id, Seen(submitted.id if submitted else None, approval_id))
            row = change.connection.execute(
                with_endings(schema.approvals, schema.approvals.c.id == approval_id)
            ).one()  # fmt: skip
            end(change, schema.approvals, row, kind, why, f"approval {kind}")
            case = case_in(change.connection, row.case_id)
            told = f"{case.in_words}: the approval by {row.by} is {kind}: {why}"
            concerned = concerned_in(change.connection, case.id)
            notify(change, (*concerned, row.by, *on_list_in(change.connection, case.id)), told, case.id)
            return _approval_in(change.connection, approval_id)

    def _tell_superseded(self, change: Transaction, row: Row[Any], tier: int) -> None:
        case = case_in(change.connection, row.case_id)
        told = (
            f"{case.in_words}: the approval by {row.by} for tier {row.tier_approved} is superseded: "
            f"{change.by} approved it again, for tier {tier}"
        )
        people = [row.by, *on_list_in(change.connection, case.id)]
        notify(change, [person for person in people if person != change.by], told, case.id)


def _approval_in(connection: Any, approval_id: int) -> StoredApproval:
    one_of(connection, schema.approvals, approval_id, "approval")
    return approval_of(
        connection.execute(with_endings(schema.approvals, schema.approvals.c.id == approval_id)).one()
    )  # fmt: skip


def approval_of(row: Row[Any]) -> StoredApproval:
    return StoredApproval(
        row.id,
        row.case_id,
        row.version,
        row.snapshot_id,
        row.tier_by_rulebook,
        row.tier_approved,
        row.mode_by_rulebook,
        row.mode_approved,
        steps_of(row.step_changes),
        row.conditions,
        row.reason,
        bool(row.own_case),
        row.at,
        row.by,
        ending_of(row),
        row.covers or "as-named",
        row.operator_conditions or "",
    )
