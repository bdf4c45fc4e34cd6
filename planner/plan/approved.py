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
from planner.plan.allocation import NO_TRAINEE, allocate, in_hands
from planner.plan.plan import Approval, ChangedStep, Hands, Plan
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, By, Mode
from planner.wording.reasons import SupervisionReason

Covers = Literal["table", "as-named"]


class NotCoveredError(PlannerError):
    """What is to be printed, placed or published is not what was approved."""


@dataclass(frozen=True)
class ApprovedScope:
    """What a consultant gave: the tier, what that covers, and what it names.

    `stage` is what the plan was made for, `mode` the supervision with it (None: the rulebook's); `who` holds the steps
    in other hands than the plan has them. For `table` stage and mode are an example only, and `who` is empty.
    """

    covers: Covers
    tier: int
    stage: Stage
    mode: Mode | None
    who: Mapping[str, Hands] = field(default_factory=dict)

    def holds_for(self, stage: Stage | None) -> bool:
        """Whether a trainee of this stage may operate by it; None is a consultant who operates without a trainee."""
        return stage is None or self.covers == "table" or stage == self.stage


@dataclass(frozen=True)
class OperatingPair:
    """Who sits down: a trainee of a stage (None: no trainee, the consultant operates), and under whom.

    `can` says how close that supervisor may supervise, None where it is not known. `cleared` are the steps that the
    trainee may take, None for any.
    """

    stage: Stage | None
    can: tuple[str, ...] | None = None
    cleared: frozenset[str] | None = None


def served(asked: str, can: Collection[str]) -> Mode | None:
    """How close a supervisor is who `can` supervise so: as asked, or the next closer that they may; None: they may not.

    >>> served("on-site", ["in-theatre", "scrubbed"]), served("scrubbed", ["on-site"]), served("consultant-only", [])
    ('in-theatre', None, 'consultant-only')
    """
    closest = MODES.index("consultant-operates")
    place = MODES.index(cast(Mode, asked))
    nearest = next(mode for mode in MODES[place:] if mode in (*can, *MODES[closest:]))
    return nearest if nearest in can or place >= closest else None


def allocated(plan: Plan, rulebook: Rulebook, scope: ApprovedScope) -> Plan:
    """The plan as it was given, for the stage it is made for. Raises NotCoveredError for a stage not covered."""
    stage = plan.supervision.stage
    if not scope.holds_for(stage):
        shapes = rulebook.stages
        what = f"approved as named for {shapes.shape(scope.stage).label}, not for {shapes.shape(stage).label}"
        raise NotCoveredError.one(what, hint="ask a consultant to approve it so")
    if scope.covers == "table":
        return allocate(plan, rulebook, stage, scope.tier)
    hands = plan.hands | dict(scope.who) if scope.mode != NO_TRAINEE else _by_supervisor(plan)
    return in_hands(allocate(plan, rulebook, stage, scope.tier, scope.mode), rulebook, hands)


def _by_supervisor(plan: Plan) -> dict[str, Hands]:
    return dict.fromkeys(plan.hands, "supervisor")


def refused(plan: Plan, mode: str, who: Mapping[str, str]) -> str:
    """Why this cannot be approved at all, or nothing: what a patient refused, or steps that the plan reserves."""
    if plan.supervision.mode == NO_TRAINEE and (mode != NO_TRAINEE or "trainee" in who.values()):
        return f"{plan.supervision.because[-1].words} No approval puts a trainee's hands in that eye."
    reserved = [step.label for step in plan.steps if step.reserved and who.get(step.id) == "trainee"]
    if reserved:
        return f"{', '.join(reserved)}: the plan of this eye has the consultant do it, so it is not the trainee's."
    return ""


def with_approval(
    plan: Plan, rulebook: Rulebook, approval: Approval, scope: ApprovedScope, pair: OperatingPair | None = None
) -> Plan:
    """The plan, made for the pair's stage (None: as planned), with the approval in force. Raises NotCoveredError."""
    planned, words = plan.supervision, rulebook.supervision
    mode: Mode = NO_TRAINEE
    by: By = "consultant"
    hands = _by_supervisor(plan)
    if pair is None or pair.stage is not None:
        approved = allocated(plan, rulebook, scope)
        mode, by, hands = approved.supervision.mode, approved.supervision.by, approved.hands
        if pair is not None:
            kept = plan.hands.keys() - pair.cleared if pair.cleared is not None else ()
            hands = {step: "supervisor" if step in kept else who for step, who in hands.items()}
            mode = (None if pair.can is None else served(mode, pair.can)) or mode
    made = in_hands(plan, rulebook, hands)
    changed = tuple(
        ChangedStep(new.label, old.who, new.who)
        for old, new in zip(plan.steps, made.steps, strict=True)
        if old.who != new.who
    )
    tier = next(shape for shape in rulebook.tiers.tiers if shape.tier == approval.tier_approved)
    supervision, stage = made.supervision, rulebook.stages.shape(scope.stage)
    if (mode, by, approval.tier_approved) != (planned.mode, planned.by, plan.assessment.tier.working):
        why = SupervisionReason("approval", planned.mode, approved_by=approval.by)
        supervision = replace(
            supervision, mode=mode, by=by, mode_words=words.modes[mode], by_words=words.by[by],
            because=(why, *planned.because),
        )  # fmt: skip
    approval = replace(
        approval, tier_label=tier.label, mode_by_rulebook=planned.mode, mode_approved=mode, steps=changed,
        covers=scope.covers, stage_named=stage.label, stage_short=stage.short,
    )  # fmt: skip
    return replace(made, supervision=supervision, approval=approval)
