"""A consultant's approval: of what was asked, for the table of tier by stage or as named, and of what else is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from planner.case import STAGES, Stage
from planner.desk.desk import Desk
from planner.documents.json_form import plan_json
from planner.errors import Fault, PlannerError
from planner.plan.approved import Covers, allocated, allocation_for, refused
from planner.plan.plan import Plan
from planner.records.rows import CaseNow, Seen, StepChange, StoredApproval, Submission
from planner.records.validity import given_in, stands_on
from planner.rulebook.shapes import MODES, Mode
from planner.unit import ApprovalPolicy
from planner.wording.people import mode_words, supervised_by
from planner.wording.words import lower_first


@dataclass(frozen=True)
class Decision:
    """What a consultant decides. `who` gives the hands of every step; `covers` what may be placed by it."""

    covers: Covers
    tier: int
    mode: Mode
    who: Mapping[str, str]
    conditions: str = ""
    operator_conditions: str = ""
    reason: str = ""


def stage_asked(desk: Desk, now: CaseNow) -> Stage | None:
    """The stage that is decided on: what is asked, else what an approval as named is for; None for the case's own."""
    if now.submission is not None:
        stage = desk.store.snapshot(now.submission.snapshot_id).stage
    else:
        held = now.approved_snapshot if now.approval and now.approval.covers == "as-named" else None
        stage = held.stage if held else None
    return stage if stage in STAGES else None


def decided(plan: Plan, covers: Covers, tier: int, mode: str, who: Mapping[str, str], **texts: str) -> Decision:
    """A decision on a plan, every step in somebody's hands. Raises PlannerError for what is none."""
    if mode not in MODES:
        raise PlannerError.one("no supervision that there is was chosen", hint="load the page again")
    hands = {step.id: "supervisor" if mode == "consultant-only" else who.get(step.id, step.who) for step in plan.steps}
    for step in plan.steps:
        if hands[step.id] not in ("trainee", "supervisor"):
            raise PlannerError.one("a step is in nobody's hands", step.label, hint="choose trainee or supervisor")
    return Decision(covers, tier, mode, hands, **texts)


def faults_of(desk: Desk, plan: Plan, decision: Decision) -> list[str]:
    """Why it cannot be approved so, each in a sentence."""
    faults = [why] if (why := refused(plan, decision.mode, decision.who)) else []
    if decision.covers == "as-named":
        return faults
    by_table = allocation_for(plan, desk.rulebook, decision.tier)
    as_named = "Approve it as named, or take that back"
    if decision.mode != by_table.mode:
        mode = mode_words(by_table.mode)
        faults.append(f"The table has {mode} for tier {decision.tier} at this stage, not what was chosen. {as_named}.")
    elif dict(decision.who) != by_table.who:
        faults.append(f"Steps are in other hands than the table has them for tier {decision.tier}. {as_named}.")
    if decision.operator_conditions:
        faults.append(f"A condition on who operates holds only as named. {as_named}.")
    return faults


def approve(
    desk: Desk, now: CaseNow, plan: Plan, decision: Decision, by: str, allowed: ApprovalPolicy
) -> StoredApproval:
    """Keep the plan as it was shown, and the approval of it, decided on `now`. `allowed` is the unit's word on who may.

    Raises DecidedMeanwhile where somebody else was quicker, PlannerError for what cannot be approved so.
    """
    if faults := faults_of(desk, plan, decision):
        raise PlannerError([Fault("", fault) for fault in faults])
    steps: tuple[StepChange, ...] = ()
    if decision.covers == "as-named":
        steps = tuple(
            StepChange(step.id, decision.who[step.id]) for step in plan.steps if decision.who[step.id] != step.who
        )
    kept = _kept(desk, now, plan, by)
    return desk.store.approve(
        now.case.id, now.version.number, kept, by, decision.tier, decision.mode, steps, decision.conditions,
        decision.reason, decision.covers, decision.operator_conditions, seen=now.seen, allowed=allowed,
    )  # fmt: skip


def ask_for(desk: Desk, now: CaseNow, stage: Stage, by: str, note: str) -> Submission:
    """Ask a consultant to approve an approved case for another stage; what was approved stands until then."""
    return submit(desk, now, desk.plans.plan(now.version, stage), by, note, now.seen)


def submit(desk: Desk, now: CaseNow, plan: Plan, by: str, note: str, seen: Seen) -> Submission:
    """Put a case before a consultant with the plan as shown. `seen` is what was open then. Raises PlannerError."""
    kept = _kept(desk, now, plan, by)
    return desk.store.submit(now.case.id, now.version.number, kept, by, note, seen=seen)


def _kept(desk: Desk, now: CaseNow, plan: Plan, by: str) -> int:
    """The number of the snapshot that holds the plan."""
    return desk.store.keep_snapshot(now.case.id, now.version.number, plan_json(plan), by).id


def difference(desk: Desk, now: CaseNow, plan: Plan) -> tuple[str, str] | None:
    """What is approved of a case that something else is asked of, and what is asked, in words; None for a new case."""
    given = given_in(now, desk.rulebook)
    if given is None or now.submission is None or not stands_on(now, desk.day_here(), desk.rulebook):
        return None
    before = desk.plans.plan(now.version, given.stage)
    held, asked = allocated(before, desk.rulebook, given), plan.supervision
    whom = "whoever operates, by the table" if given.covers == "table" else _stage(desk, given.stage)
    steps = sum(who == "trainee" for who in held.who.values())
    count = len(plan.steps)
    return (
        f"{whom}: {supervised_by(held.mode, held.by)}, {steps} of {count} steps by the trainee",
        f"{_stage(desk, cast(Stage, asked.stage))}: {supervised_by(asked.mode, asked.by)}, "
        f"{len(asked.trainee_steps)} of {count} steps by the trainee",
    )


def _stage(desk: Desk, stage: Stage) -> str:
    return lower_first(desk.rulebook.stages.shape(stage).label)
