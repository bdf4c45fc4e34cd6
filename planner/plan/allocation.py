"""`allocate(eye, rulebook, stage, tier)`: whose step is whose, and where the supervisor is, of an eye planned once.

The table of tier by stage says where the supervisor is and who; the operator's own probability brings them closer, and
an override may. Nothing sends them further away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from planner.case import Stage
from planner.plan.plan import EyePlan, Hands, Plan, PlannedStep, PlannedSupervision
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, By, Mode, StageShape, Supervised
from planner.wording.reasons import SupervisionReason
from planner.wording.words import lower_first

NO_TRAINEE: Mode = "consultant-only"
BY_CONSULTANT: tuple[Mode, ...] = ("consultant-operates", NO_TRAINEE)


def allocate(
    eye: EyePlan, rulebook: Rulebook, stage: Stage | None = None, tier: int | None = None, mode: Mode | None = None
) -> Plan:
    """The plan for a stage (or the case's own), a tier (or the working one) and a mode. KeyError for what is none."""
    asked = stage or eye.assessment.case.planned_stage
    shape = rulebook.stages.shape(asked or rulebook.stages.default_stage)  # type: ignore[arg-type]
    label = shape.label if asked else rulebook.stages.assumed.replace("{stage}", lower_first(shape.label))
    supervised, because = supervise(eye, rulebook, shape.id, tier)
    mode = mode or supervised.mode
    by: By = "consultant" if mode in BY_CONSULTANT else supervised.by
    words = rulebook.supervision
    supervision = PlannedSupervision(
        mode, by, shape.id, label, words.modes[mode], words.by[by], because, (), tuple(words.hand_back),
        words.take_over_words, eye.contact,
    )  # fmt: skip
    own: dict[str, int] = {step.id: step.difficulty for step in rulebook.steps}
    hands: dict[str, Hands] = {
        step.id: "trainee" if _takes(shape, mode, step, step.difficulty - own[step.id]) else "supervisor"
        for step in eye.steps
    }
    fields = {name: getattr(eye, name) for name in EyePlan.__dataclass_fields__}
    return in_hands(Plan(**fields, supervision=supervision), rulebook, hands)


def in_hands(plan: Plan, rulebook: Rulebook, hands: Mapping[str, Hands]) -> Plan:
    """The plan with each step in these hands, and what is taught today with them."""
    steps = tuple(replace(step, who=hands[step.id]) for step in plan.steps)
    taken = {step.id: step for step in steps if step.who == "trainee"}
    # The first of the stage's targets that the trainee takes, else the last step taken.
    shape = rulebook.stages.shape(plan.supervision.stage)
    wanted = (taken[name] for name in (*shape.targets, *reversed(shape.named_steps)) if name in taken)
    target = next((step for step in wanted if not step.idle), None)
    supervision = replace(
        plan.supervision,
        trainee_steps=tuple(step.label for step in taken.values()),
        target=lower_first(target.label) if target else None,
        target_short=lower_first(target.short) if target else None,
    )
    return replace(plan, steps=steps, supervision=supervision)


def _takes(shape: StageShape, mode: Mode, step: PlannedStep, harder: int) -> bool:
    """Whether a trainee of this stage takes a step under this mode; `harder` is what the eye adds to its difficulty."""
    if step.reserved or mode == NO_TRAINEE:
        return False
    if mode == "consultant-operates":
        return step.id in shape.named_steps and harder <= shape.named_harder_up_to
    return step.difficulty <= shape.takes_up_to


def supervise(
    eye: EyePlan, rulebook: Rulebook, stage: Stage, tier: int | None = None
) -> tuple[Supervised, tuple[SupervisionReason, ...]]:
    """The mode and by whom for a stage and a tier (default: the working one), with what decided it."""
    supervision, assessment = rulebook.supervision, eye.assessment
    tier = assessment.tier.working if tier is None else tier
    chosen = supervision.matrix[tier][stage]
    because = [SupervisionReason("table", rulebook.stages.shape(stage).label, tier=tier)]
    operator = assessment.probability.by_operator.get(stage)
    for rule in supervision.closer:
        limit = rule.operator_probability_at_least
        if operator is not None and operator.most >= limit and chosen.is_looser_than(rule.supervised):
            chosen = chosen.brought_to(rule.supervised)
            because.append(SupervisionReason("probability", most=operator.most, limit=limit))
    for override in supervision.overrides:
        if override.id in eye.overrides and MODES.index(override.mode) > MODES.index(chosen.mode):
            chosen = chosen.brought_to(override.supervised)
            because.append(SupervisionReason("override", override.because))
    return chosen, tuple(because)
