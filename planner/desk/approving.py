"""A consultant's approval: of what was asked, for the table of tier by stage or as named, and of what else is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from planner.case import STAGES, Stage
from planner.desk.desk import Desk
from planner.desk.plan_in_force import plan_as_given
from planner.desk.plans import PlannedVersion
from planner.documents.figures import day
from planner.documents.json_form import plan_json
from planner.errors import Fault, PlannerError
from planner.plan.allocation import allocate, supervise
from planner.plan.approved import Covers, refused
from planner.plan.plan import Plan
from planner.records.approval_validity import standing_on, validity_on
from planner.records.database import StoreUnavailableError
from planner.records.roles import SERVER
from planner.records.rows import ApprovalStanding, CaseNow, Question, Seen, StepChange, StoredApproval, Submission
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, Mode, Supervised
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
        snapshot = now.approved_snapshot if now.approval and now.approval.covers == "as-named" else None
        stage = snapshot.stage if snapshot else None
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
    table = allocate(plan, desk.rulebook, plan.supervision.stage, decision.tier)
    as_named = "Approve it as named, or take that back"
    if decision.mode != table.supervision.mode:
        mode = mode_words(table.supervision.mode)
        faults.append(f"The table has {mode} for tier {decision.tier} at this stage, not what was chosen. {as_named}.")
    elif dict(decision.who) != table.hands:
        faults.append(f"Steps are in other hands than the table has them for tier {decision.tier}. {as_named}.")
    if decision.operator_conditions:
        faults.append(f"A condition on who operates holds only as named. {as_named}.")
    return faults


def approve(desk: Desk, now: CaseNow, plan: Plan, decision: Decision, by: str) -> StoredApproval:
    """Keep the plan as it was shown, and the approval of it, decided on `now`, by whom the unit allows.

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
        decision.reason, decision.covers, decision.operator_conditions, seen=now.seen, allowed=desk.approval_policy,
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


@dataclass(frozen=True)
class CaseForApproval:
    """A case as its consultant decides on it.

    `planned` is for the stage that is asked, `given` the plan as it was approved, None where no approval stands today;
    `difference` is what is approved and what is asked instead, in words. `aged` says what has aged or is dated ahead,
    so that an approval would not stand. `table` has for each tier the supervision by stage, `by_tier` what goes with
    each tier for the stage asked. `barred` is why the person may not approve, `own` that they saved a version.
    """

    rulebook: Rulebook
    now: CaseNow
    planned: PlannedVersion
    standing: ApprovalStanding | None
    given: Plan | None
    difference: tuple[str, str] | None
    aged: str
    table: Mapping[int, Mapping[Stage, Supervised]]
    by_tier: Mapping[int, Plan]
    ended: tuple[StoredApproval, ...]
    questions: tuple[Question, ...]
    barred: tuple[Fault, ...]
    own: bool


def case_for_approval(desk: Desk, now: CaseNow, code: str) -> CaseForApproval:
    """All that a consultant, `code`, is shown of a case before they decide."""
    store, rulebook, today = desk.store, desk.rulebook, desk.day_here()
    validity = validity_on(now, today, rulebook)
    planned = desk.plans.planned(now.version, stage_asked(desk, now))
    plan = planned.plan
    given = plan_as_given(desk, now) if plan and validity.stands else None
    aged = f"{'; '.join(validity.ahead)}: later than today" if validity.ahead else ""
    if validity.until and validity.until[0] < today and not aged:
        aged = f"{validity.until[1]}: it held until {day(validity.until[0])}"
    tiers = sorted(shape.tier for shape in rulebook.tiers.tiers) if plan else []
    return CaseForApproval(
        rulebook,
        now,
        planned,
        validity.standing,
        given,
        _difference(desk, given, plan) if given and plan and now.submission else None,
        aged,
        {tier: {stage: supervise(plan, rulebook, stage, tier)[0] for stage in STAGES} for tier in tiers if plan},
        {tier: allocate(plan, rulebook, plan.supervision.stage, tier) for tier in tiers if plan},
        tuple(approval for approval in store.approvals(now.case.id) if approval.ended),
        store.questions(now.case.id),
        store.may_not_approve(now.case.id, code, desk.approval_policy),
        code in {version.by for version in store.versions(now.case.id)},
    )


def _difference(desk: Desk, given: Plan, asked: Plan) -> tuple[str, str]:
    """What is approved of a case that something else is asked of, and what is asked, in words."""

    def words(plan: Plan, whom: str) -> str:
        hands, steps = plan.supervision, f"{len(plan.supervision.trainee_steps)} of {len(asked.steps)} steps"
        return f"{whom}: {supervised_by(hands.mode, hands.by)}, {steps} by the trainee"

    def stage(plan: Plan) -> str:
        return lower_first(desk.rulebook.stages.shape(plan.supervision.stage).label)

    by_table = given.approval is not None and given.approval.covers == "table"
    return words(given, "whoever operates, by the table" if by_table else stage(given)), words(asked, stage(asked))


def enter_lapses(desk: Desk) -> None:
    """Enter the approvals that no longer stand, so that both their people hear of it."""
    for now in (*desk.store.cases(state="approved"), *desk.store.cases(state="listed")):
        standing = standing_on(now, desk.day_here(), desk.rulebook)
        if standing is not None and standing.state == "lapsed" and now.approval is not None:
            try:
                desk.store.lapse(now.approval.id, "; ".join(standing.because), SERVER)
            except StoreUnavailableError:
                # What nobody can write to can still be read, and says of each that it has lapsed.
                return
            except PlannerError:
                # Somebody else's page may have entered it meanwhile.
                continue
