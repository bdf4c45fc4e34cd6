"""The steps of the operation with who, what to do, what to watch and when to pause."""

from __future__ import annotations

from typing import Literal

from planner.assess.assess import Assessor
from planner.assess.assessment import Assessment
from planner.case import Stage
from planner.plan.choices import Picture
from planner.plan.plan import IF_FOUND, Chosen, PlannedStep
from planner.plan.supervision import takes
from planner.rulebook.plan_shapes import Line, Step
from planner.rulebook.shapes import Supervised


def plan_steps(
    picture: Picture, assessment: Assessment, choices: dict[str, Chosen], stage: Stage, supervised: Supervised
) -> tuple[PlannedStep, ...]:
    """Every step in order. A line that may hold is taken and marked; a factor that may hold makes steps harder."""
    return tuple(
        _step(picture, assessment, [c for c in choices.values() if c.step == step.id], step, number, stage, supervised)
        for number, step in enumerate(picture.assessor.rulebook.steps, 1)
    )


def _step(
    picture: Picture,
    assessment: Assessment,
    chosen: list[Chosen],
    step: Step,
    number: int,
    stage: Stage,
    supervised: Supervised,
) -> PlannedStep:
    difficulty, harder = _difficulty(picture.assessor, assessment, step)
    do: list[str] = []
    watch: list[str] = []
    pause: list[str] = []
    ids: list[str] = []
    for choice in chosen:
        ids.append(f"{choice.choice}.{choice.option}")
        if choice.prepared_as:
            do.append(choice.prepared_as)
        do.extend(choice.do)
        watch.extend(choice.watch)
        pause.extend(choice.pause_if)
    for line, certain in _lines(picture, step):
        ids.append(line.id)
        do.extend(line.do if certain else [f"{text}{IF_FOUND}" for text in line.do])
        watch.extend(line.watch)
        pause.extend(words.words for words in line.pause_if)
    who: Literal["trainee", "supervisor"] = (
        "trainee" if takes(picture.assessor, stage, supervised.mode, step.id, difficulty) else "supervisor"
    )
    return PlannedStep(
        step.id,
        step.label,
        number,
        who,
        difficulty,
        harder,
        "; ".join(choice.label for choice in chosen),
        tuple(step.think),
        _once(do),
        _once(watch),
        _once(pause),
        tuple(step.hand_over_if),
        step.done_well,
        tuple(ids),
    )


def _difficulty(assessor: Assessor, assessment: Assessment, step: Step) -> tuple[int, tuple[str, ...]]:
    weights = []
    for state in assessment.factors:
        weight = assessor.rulebook.factors[state.id].harder_steps.get(step.id, 0)
        if weight and state.state in ("holds", "unknown"):
            weights.append(
                (weight, state.label if state.state == "holds" else f"{state.label} (may hold)", state.state == "holds")
            )
    # Kinds of the same trouble do not pile up: the heaviest counts, and one more where another factor adds to it.
    heaviest = max((weight for weight, _, _ in weights), default=0)
    extra = 1 if sum(certain for _, _, certain in weights) > 1 else 0
    return step.difficulty + heaviest + extra, tuple(label for _, label, _ in weights)


def _lines(picture: Picture, step: Step) -> list[tuple[Line, bool]]:
    found = []
    for line in step.lines:
        truth = picture.line(f"line:{step.id}:{line.id}")
        if truth is not False:
            found.append((line, truth is True))
    return found


def _once(texts: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
