"""A plan as a consultant approved it: who operates, supervision and steps in force, the rulebook's kept beside them.

An approval covers either *the table*, this eye's tier with whoever operates, so that supervision and steps follow the
rulebook's table of tier by stage; or what it names, *as named*: one stage, one supervision, these steps and no others.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, cast

from planner.case import Stage
from planner.errors import PlannerError
from planner.plan.eye_plan import plan_eye
from planner.plan.plan import Approval, ChangedStep, Plan
from planner.plan.steps import target_of
from planner.plan.supervision import supervise, takes
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, By, Mode, Supervised

Who = Literal["trainee", "supervisor"]
Covers = Literal["table", "as-named"]
NO_TRAINEE = "consultant-only"
BY_CONSULTANT = ("consultant-operates", NO_TRAINEE)


class NotCoveredError(PlannerError):
    """What is to be printed, placed or published is not what was approved."""


@dataclass(frozen=True)
class Given:
    """What a consultant gave: the tier, what that covers, and what it names.

    `stage` is what the plan was made for, `mode` the supervision with it (None: the rulebook's); `who` holds the steps
    in other hands than the plan has them. For `table` stage and mode are an example only, and `who` is empty.
    """

    covers: Covers
    tier: int
    stage: Stage
    mode: Mode | None
    who: Mapping[str, Who] = field(default_factory=dict)

    def holds_for(self, stage: Stage | None) -> bool:
        """Whether a trainee of this stage may operate by it; None is a consultant who operates without a trainee."""
        return stage is None or self.covers == "table" or stage == self.stage


@dataclass(frozen=True)
class Seat:
    """Who sits down: a trainee of a stage (None: no trainee, the consultant operates), and under whom.

    `can` says how close that supervisor may supervise, None where it is not known. `cleared` are the steps that the
    trainee may take, None for any.
    """

    stage: Stage | None
    can: tuple[str, ...] | None = None
    cleared: frozenset[str] | None = None


@dataclass(frozen=True)
class Allocation:
    """Who supervises and from where, and who takes each step."""

    mode: Mode
    by: By
    who: dict[str, Who]

    @property
    def taken(self) -> tuple[str, ...]:
        """The trainee's steps, in the order of the operation."""
        return tuple(step for step, who in self.who.items() if who == "trainee")


def allocation_for(plan: Plan, rulebook: Rulebook, tier: int, mode: str | None = None) -> Allocation:
    """What goes with a tier in this eye and for this stage, by the rulebook; with `mode`, if that is given instead.

    Raises KeyError for a tier or a mode that is none.
    """
    stage = cast(Stage, plan.supervision.stage)
    picture = plan_eye(plan.assessment.case, rulebook).picture
    supervised = supervised_at(plan, rulebook, tier, stage)
    given = cast(Mode, supervised.mode if mode is None else mode)
    MODES.index(given)
    who: dict[str, Who] = {
        step.id: "trainee"
        if not step.reserved and takes(picture.assessor, stage, given, step.id, step.difficulty)
        else "supervisor"
        for step in plan.steps
    }
    return Allocation(given, "consultant" if given in BY_CONSULTANT else supervised.by, who)


def supervised_at(plan: Plan, rulebook: Rulebook, tier: int, stage: Stage) -> Supervised:
    """How close the supervisor of this eye is, and who, at a tier and for a stage, by the rulebook."""
    assessment = replace(plan.assessment, tier=replace(plan.assessment.tier, working=tier))
    return supervise(plan_eye(assessment.case, rulebook).picture, assessment, stage)[0]


def served(asked: str, can: Collection[str]) -> Mode | None:
    """How close a supervisor is who `can` supervise so: as asked, or the next closer that they may; None: they may not.

    >>> served("on-site", ["in-theatre", "scrubbed"]), served("scrubbed", ["on-site"]), served("consultant-only", [])
    ('in-theatre', None, 'consultant-only')
    """
    closest = MODES.index("consultant-operates")
    place = MODES.index(cast(Mode, asked))
    found = next(mode for mode in MODES[place:] if mode in (*can, *MODES[closest:]))
    return found if found in can or place >= closest else None


def allocated(plan: Plan, rulebook: Rulebook, given: Given) -> Allocation:
    """What was given, for the stage that the plan is made for. Raises NotCoveredError for a stage it does not cover."""
    stage = cast(Stage, plan.supervision.stage)
    if not given.holds_for(stage):
        shapes = rulebook.stages
        what = f"approved as named for {shapes.shape(given.stage).label}, not for {shapes.shape(stage).label}"
        raise NotCoveredError.one(what, hint="ask a consultant to approve it so")
    if given.covers == "table":
        return allocation_for(plan, rulebook, given.tier)
    by_tier = allocation_for(plan, rulebook, given.tier, given.mode)
    who: dict[str, Who] = {step.id: given.who.get(step.id, step.who) for step in plan.steps}
    if given.mode == NO_TRAINEE:
        who = dict.fromkeys(who, "supervisor")
    return replace(by_tier, who=who)


def refused(plan: Plan, mode: str, who: Mapping[str, str]) -> str:
    """Why this cannot be approved at all, or nothing.

    What a patient refused is no consultant's to give; a step written for the consultant's own hands is nobody else's.
    """
    if plan.supervision.mode == NO_TRAINEE and (mode != NO_TRAINEE or "trainee" in who.values()):
        return f"{plan.supervision.because[-1]} No approval puts a trainee's hands in that eye."
    reserved = [step.label for step in plan.steps if step.reserved and who.get(step.id) == "trainee"]
    if reserved:
        return f"{', '.join(reserved)}: the plan of this eye has the consultant do it, so it is not the trainee's."
    return ""


def with_approval(plan: Plan, rulebook: Rulebook, approval: Approval, given: Given, seat: Seat | None = None) -> Plan:
    """The plan with what was approved in force, for whoever sits down (None: as it was planned).

    `plan` is made for the stage of the seat. Raises NotCoveredError where that is not what was approved.
    """
    alone = seat is not None and seat.stage is None
    if alone:
        held = Allocation(cast(Mode, NO_TRAINEE), "consultant", {step.id: "supervisor" for step in plan.steps})
    else:
        held = allocated(plan, rulebook, given)
    if seat is not None and not alone:
        cleared = seat.cleared
        who: dict[str, Who] = {
            step: "supervisor" if cleared is not None and step not in cleared else hands
            for step, hands in held.who.items()
        }
        mode = None if seat.can is None else served(held.mode, seat.can)
        held = replace(held, who=who, mode=mode or held.mode)
    return _in_force(plan, rulebook, approval, given, held)


def _in_force(plan: Plan, rulebook: Rulebook, approval: Approval, given: Given, held: Allocation) -> Plan:
    steps = tuple(replace(step, who=held.who[step.id]) for step in plan.steps)
    changed = tuple(
        ChangedStep(new.label, old.who, new.who)
        for old, new in zip(plan.steps, steps, strict=True)
        if old.who != new.who
    )
    tier = next(shape for shape in rulebook.tiers.tiers if shape.tier == approval.tier_approved)
    approval = replace(
        approval, tier_label=tier.label, mode_by_rulebook=plan.supervision.mode, mode_approved=held.mode, steps=changed,
        covers=given.covers, stage_named=rulebook.stages.shape(given.stage).label,
    )  # fmt: skip
    planned = plan.supervision
    if (held.mode, held.by, approval.tier_approved) != (planned.mode, planned.by, plan.assessment.tier.working):
        words = f"{rulebook.supervision.modes[held.mode]} Supervisor: {rulebook.supervision.by[held.by]}."
        because = (f"approved by {approval.by}; by the rulebook {planned.mode}", *planned.because)
        planned = replace(planned, mode=held.mode, by=held.by, words=words, because=because)
    taken = tuple(step.label for step in steps if step.who == "trainee")
    picture = plan_eye(plan.assessment.case, rulebook).picture
    target = target_of(picture, cast(Stage, planned.stage), steps)
    return replace(
        plan, steps=steps, supervision=replace(planned, trainee_steps=taken, target=target), approval=approval
    )
