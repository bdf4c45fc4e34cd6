"""Where the supervisor is and who: tier by stage, brought closer by the operator's own probability, or overridden."""

from __future__ import annotations

from planner.assess.assess import Assessor
from planner.assess.assessment import Assessment
from planner.case import Stage
from planner.plan.picture import Picture
from planner.rulebook.shapes import MODES, By, Mode, Supervised
from planner.wording.words import percent


def supervise(picture: Picture, assessment: Assessment, stage: Stage) -> tuple[Supervised, tuple[str, ...]]:
    """The mode and by whom for a stage, with what decided it. Closer only, never further away."""
    assessor = picture.assessor
    supervision = assessor.rulebook.supervision
    tier = assessment.tier.working
    chosen = supervision.matrix[tier][stage]
    because = [f"tier {tier}, {assessor.rulebook.stages.shape(stage).label}"]
    operator = assessment.probability.by_operator.get(stage)
    for rule in supervision.closer:
        if (
            operator is not None
            and operator.most >= rule.operator_probability_at_least
            and _closer(rule.at_least_mode, rule.by, chosen)
        ):
            chosen = Supervised(mode=max(rule.at_least_mode, chosen.mode, key=MODES.index), by=_who(rule.by, chosen.by))
            because.append(
                f"this operator's own probability may reach {percent(operator.most)}, "
                f"at or above {percent(rule.operator_probability_at_least)}"
            )
    for override in supervision.overrides:
        if picture.line(f"override:{override.id}") and MODES.index(override.mode) > MODES.index(chosen.mode):
            chosen = Supervised(mode=override.mode, by=_who(override.by, chosen.by))
            because.append(override.because)
    return chosen, tuple(because)


def _closer(mode: Mode, by: By, now: Supervised) -> bool:
    return MODES.index(mode) > MODES.index(now.mode) or (by == "consultant" and now.by == "trainer")


def _who(one: By, other: By) -> By:
    return "consultant" if "consultant" in (one, other) else "trainer"


def takes(assessor: Assessor, stage: Stage, mode: str, step: str, difficulty: int) -> bool:
    """Whether a trainee of this stage takes a step under this mode; `difficulty` is its own and what the eye adds."""
    shape = assessor.rulebook.stages.shape(stage)
    if mode == "consultant-only":
        return False
    if mode == "consultant-operates":
        own = next(s.difficulty for s in assessor.rulebook.steps if s.id == step)
        return step in shape.named_steps and difficulty - own <= shape.named_harder_up_to
    return difficulty <= shape.takes_up_to


def default_stage(assessor: Assessor, assessment: Assessment, asked: Stage | None) -> Stage:
    """The stage planned for: asked for, else the case's own, else the rulebook's default."""
    return asked or assessment.case.planned_stage or assessor.rulebook.stages.default_stage  # type: ignore[return-value]
