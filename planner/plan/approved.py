"""A plan as a consultant approved it: its tier, supervision and steps in force, and the rulebook's kept beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, cast

from planner.assess.assess import assessor
from planner.plan.make import make_plan
from planner.plan.plan import Approval, ChangedStep, Plan
from planner.plan.supervision import takes
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, By, Mode

Who = Literal["trainee", "supervisor"]
NO_TRAINEE = "consultant-only"
BY_CONSULTANT = ("consultant-operates", NO_TRAINEE)


@dataclass(frozen=True)
class Allocation:
    """Who supervises and from where, and who takes each step."""

    mode: Mode
    by: By
    who: dict[str, Who]


def allocation_for(plan: Plan, rulebook: Rulebook, tier: int, mode: str | None = None) -> Allocation:
    """What goes with a tier in this eye and for this stage, by the rulebook; with `mode`, if that is given instead.

    Raises KeyError for a tier or a mode that is none.
    """
    stage = plan.supervision.stage
    assessment = replace(plan.assessment, tier=replace(plan.assessment.tier, working=tier))
    made = make_plan(assessment, rulebook, None, stage)  # type: ignore[arg-type]
    given = cast(Mode, made.supervision.mode if mode is None else mode)
    MODES.index(given)
    judge = assessor(rulebook)
    who: dict[str, Who] = {
        step.id: "trainee"
        if not step.reserved and takes(judge, stage, given, step.id, step.difficulty)  # type: ignore[arg-type]
        else "supervisor"
        for step in plan.steps
    }
    return Allocation(given, "consultant" if given in BY_CONSULTANT else cast(By, made.supervision.by), who)


def refused(plan: Plan, mode: str, who: Mapping[str, str]) -> str:
    """Why this cannot be approved at all, or nothing: what a patient refused is no consultant's to give."""
    if plan.supervision.mode == NO_TRAINEE and (mode != NO_TRAINEE or "trainee" in who.values()):
        return plan.supervision.because[-1]
    return ""


def with_approval(plan: Plan, rulebook: Rulebook, approval: Approval, mode: str, who: Mapping[str, str]) -> Plan:
    """The plan with what was approved in force. `who` gives the steps whose hands differ from the rulebook's."""
    if mode == NO_TRAINEE:
        who = {step.id: "supervisor" for step in plan.steps}
    steps = tuple(replace(step, who=cast(Who, who.get(step.id, step.who))) for step in plan.steps)
    changed = tuple(
        ChangedStep(new.label, old.who, new.who)
        for old, new in zip(plan.steps, steps, strict=True)
        if old.who != new.who
    )
    tier = next(shape for shape in rulebook.tiers.tiers if shape.tier == approval.tier_approved)
    approval = replace(
        approval, tier_label=tier.label, mode_by_rulebook=plan.supervision.mode, mode_approved=mode, steps=changed
    )
    planned = plan.supervision
    if (mode, approval.tier_approved) != (planned.mode, plan.assessment.tier.working):
        given = allocation_for(plan, rulebook, approval.tier_approved, mode)
        words = f"{rulebook.supervision.modes[given.mode]} Supervisor: {rulebook.supervision.by[given.by]}."
        because = (f"approved by {approval.by}; by the rulebook {planned.mode}", *planned.because)
        planned = replace(planned, mode=mode, by=given.by, words=words, because=because)
    taken = tuple(step.label for step in steps if step.who == "trainee")
    return replace(plan, steps=steps, supervision=replace(planned, trainee_steps=taken), approval=approval)
