"""The steps of the operation: what to do, what to watch, when to pause, and what makes each harder in this eye."""

from __future__ import annotations

from typing import TypeVar

from planner.assess.assessment import Assessment
from planner.plan.gates import lines_if_found
from planner.plan.picture import Picture
from planner.plan.plan import Gate, PlannedChoice, PlannedDrug, PlannedStep
from planner.rulebook.plan_shapes import DrugLine, Option, Pause, Step, StepLine
from planner.rulebook.shapes import STEP_IDS

T = TypeVar("T")


def plan_steps(
    picture: Picture, assessment: Assessment, choices: dict[str, PlannedChoice], drugs: tuple[PlannedDrug, ...]
) -> tuple[PlannedStep, ...]:
    """Every step in the order of this eye, in the supervisor's hands until it is allocated.

    What holds on record is done, what may be found stands as a gate.
    """
    return tuple(
        _step(picture, assessment, list(choices.values()), drugs, step, number)
        for number, step in enumerate(in_order(picture), 1)
    )


def in_order(picture: Picture) -> list[Step]:
    """The steps in the usual order, but where a rule of force `order` puts one before another."""
    before: dict[str, set[str]] = {}
    for rule in picture.rulebook.interactions.rules:
        if rule.force == "order" and rule.first is not None and picture.on_record(f"rule:{rule.id}") is True:
            before.setdefault(rule.of["step"], set()).add(rule.first)
    steps: list[Step] = []
    waiting = list(picture.rulebook.steps)
    while waiting:
        left = {step.id for step in waiting}
        # Where the rules ask each for the other, the usual order stands.
        following = next((step for step in waiting if not before.get(step.id, set()) & left), waiting[0])
        waiting.remove(following)
        steps.append(following)
    return steps


def _step(
    picture: Picture,
    assessment: Assessment,
    choices: list[PlannedChoice],
    drugs: tuple[PlannedDrug, ...],
    step: Step,
    number: int,
) -> PlannedStep:
    rulebook, chosen = picture.rulebook, [choice for choice in choices if choice.step == step.id]
    difficulty, harder = _difficulty(picture, assessment, step)
    lines = [line for line in step.lines if picture.on_record(f"line:{step.id}:{line.id}") is not False]
    ids = (*(f"{choice.choice}.{choice.option}" for choice in chosen), *(line.id for line in lines))
    do, barred, watch, pause, gates = list[str](), list[str](), list[str](), list[Pause](), list[Gate]()
    # Nobody can be taught a step for which no technique is written.
    reserved, idle = True, False
    if not picture.is_on_record:
        # Too little is recorded to write a technique, and one for every eye that this could be is one for none.
        do, chosen = ([rulebook.theatre.technique_not_written] if chosen else []), []
    else:
        for choice in chosen:
            given = [(line.do, drug_line(line, drugs)) for line in choice.way.drug_lines]
            prepared = [choice.prepared_as] if choice.prepared_as else []
            do.extend([*prepared, *choice.way.do, *(words for _, words in given)])
            barred.extend(words for as_written, words in given if words != as_written)
        also = [line for choice in choices for line in choice.way.also.get(step.id, [])]
        # What belongs to the first step is done before theatre, and so before all else.
        do = [*also, *do] if number == 1 else [*do, *also]
        do.extend(text for line in lines for text in line.do)
        parts: list[Option | StepLine] = [*(choice.way for choice in chosen), *lines]
        watch, pause = [text for part in parts for text in part.watch], [one for part in parts for one in part.pause_if]
        by_act = sorted(chosen, key=lambda choice: STEP_IDS.index(rulebook.choices[choice.choice].act))
        gates = [*(gate for choice in by_act for gate in choice.if_found), *lines_if_found(picture, step)]
        reserved = any(part.consultant_does for part in parts)
        idle = bool(chosen) and all(choice.way.idle for choice in chosen) and not lines
    return PlannedStep(
        step.id, step.label, step.short, number, "supervisor", difficulty, harder,
        "; ".join(choice.label for choice in chosen), tuple(step.think), _once(do), _once(watch), _once(pause),
        tuple(step.hand_over_if), step.done_well, ids,
        tuple(gates), idle, tuple(barred), reserved,
    )  # fmt: skip


def drug_line(line: DrugLine, drugs: tuple[PlannedDrug, ...]) -> str:
    """A line that gives a drug; where it is barred, the bar and what serves instead."""
    return with_bar(line.do, next(drug for drug in drugs if drug.id == line.drug))


def with_bar(do: str, drug: PlannedDrug) -> str:
    """What gives a drug, as far as nothing bars it in this eye."""
    match drug.state:
        case "withheld":
            instead = "; ".join(dict.fromkeys(text for text in drug.instead if text))
            words = f"{drug.label} barred: {'; '.join(drug.reasons)}."
            return f"{words} Instead: {instead}." if instead else words
        case "not-until-checked":
            return f"{do.rstrip('.')}: not until checked, {', '.join(drug.reasons)}."
    return do


def _difficulty(picture: Picture, assessment: Assessment, step: Step) -> tuple[int, tuple[str, ...]]:
    heaviest, certain, labels = 0, 0, []
    for state in assessment.factors:
        weight = picture.rulebook.factors[state.id].harder_steps.get(step.id, 0)
        truth = picture.on_record(f"factor:{state.id}")
        if weight and truth is not False:
            heaviest, certain = max(heaviest, weight), certain + (truth is True)
            labels.append(state.label if truth else f"{state.label} (may hold)")
    # Kinds of the same trouble do not pile up: the heaviest counts, and one more where another factor adds to it.
    return step.difficulty + heaviest + (certain > 1), tuple(labels)


def _once(items: list[T]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(items))
