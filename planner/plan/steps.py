"""The steps of the operation with who, what to do, what to watch and when to pause."""

from __future__ import annotations

from typing import Literal

from planner.assess.assessment import Assessment
from planner.case import Stage
from planner.plan.choices import with_options
from planner.plan.gates import lines_if_found
from planner.plan.picture import Picture
from planner.plan.plan import IF_FOUND, Chosen, PlannedDrug, PlannedStep
from planner.plan.supervision import takes
from planner.rulebook.plan_shapes import DrugLine, Option, Step, StepLine
from planner.rulebook.shapes import STEP_IDS, Supervised
from planner.wording.words import lower_first


def plan_steps(
    picture: Picture,
    assessment: Assessment,
    choices: dict[str, Chosen],
    drugs: tuple[PlannedDrug, ...],
    stage: Stage,
    supervised: Supervised,
) -> tuple[PlannedStep, ...]:
    """Every step in the order of this eye. What holds on record is done, what may be found stands as a gate."""
    written = with_options(picture.assessor.rulebook, choices)
    return tuple(
        _step(picture, assessment, written, drugs, step, number, stage, supervised)
        for number, step in enumerate(in_order(picture), 1)
    )


def in_order(picture: Picture) -> list[Step]:
    """The steps in the usual order, but where a rule of force `order` puts one before another."""
    before: dict[str, set[str]] = {}
    for rule in picture.assessor.rulebook.interactions.rules:
        if rule.force == "order" and rule.first is not None and picture.on_record(f"rule:{rule.id}") is True:
            before.setdefault(rule.of["step"], set()).add(rule.first)
    steps: list[Step] = []
    waiting = list(picture.assessor.rulebook.steps)
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
    written: list[tuple[Chosen, Option]],
    drugs: tuple[PlannedDrug, ...],
    step: Step,
    number: int,
    stage: Stage,
    supervised: Supervised,
) -> PlannedStep:
    rulebook = picture.assessor.rulebook
    chosen = [(choice, option) for choice, option in written if choice.step == step.id]
    difficulty, harder = _difficulty(picture, assessment, step)
    do: list[str] = []
    barred: list[str] = []
    watch: list[str] = []
    pause: list[str] = []
    ids: list[str] = []
    by_consultant = False
    for choice, option in chosen:
        ids.append(f"{choice.choice}.{choice.option}")
        if choice.prepared_as:
            do.append(choice.prepared_as)
        do.extend(choice.do)
        given = [(line.do, drug_line(line, drugs)) for line in option.drug_lines]
        do.extend(words for _, words in given)
        barred.extend(words for as_written, words in given if words != as_written)
        watch.extend(choice.watch)
        pause.extend(choice.pause_if)
        by_consultant |= option.consultant_does
    also = [line for _, option in written for line in option.also.get(step.id, [])]
    # What belongs to the first step is done before theatre, and so before all else.
    do = [*also, *do] if number == 1 else [*do, *also]
    lines = _lines(picture, step)
    for line, certain in lines:
        ids.append(line.id)
        do.extend(line.do if certain else [f"{text}{IF_FOUND}" for text in line.do])
        watch.extend(line.watch)
        pause.extend(words.words for words in line.pause_if)
        by_consultant |= line.consultant_does
    by_act = sorted((choice for choice, _ in chosen), key=lambda c: STEP_IDS.index(rulebook.choices[c.choice].act))
    gates = [*(gate for choice in by_act for gate in choice.if_found), *lines_if_found(picture, step)]
    if not picture.is_on_record:
        # Too little is recorded to write a technique, and one for every eye that this could be is one for none.
        do, watch, pause, gates = ([rulebook.theatre.technique_not_written] if chosen else []), [], [], []
        barred = []
        chosen = []
    idle = bool(chosen) and all(option.idle for _, option in chosen) and not lines
    # Nobody can be taught a step for which no technique is written.
    reserved = by_consultant or not picture.is_on_record
    may_take = not reserved and takes(picture.assessor, stage, supervised.mode, step.id, difficulty)
    who: Literal["trainee", "supervisor"] = "trainee" if may_take else "supervisor"
    return PlannedStep(
        step.id,
        step.label,
        number,
        who,
        difficulty,
        harder,
        "; ".join(choice.label for choice, _ in chosen),
        tuple(step.think),
        _once(do),
        _once(watch),
        _once(pause),
        tuple(step.hand_over_if),
        step.done_well,
        tuple(ids),
        tuple(gates),
        idle,
        tuple(barred),
        reserved,
    )


def drug_line(line: DrugLine, drugs: tuple[PlannedDrug, ...]) -> str:
    """A line that gives a drug; where it is barred, the bar and what serves instead."""
    return with_bar(line.do, next(drug for drug in drugs if drug.id == line.drug))


def with_bar(do: str, drug: PlannedDrug) -> str:
    """What gives a drug, as far as nothing bars it in this eye."""
    match drug.state:
        case "withheld":
            instead = "; ".join(dict.fromkeys(text for text in drug.instead if text))
            told = f"{drug.label} barred: {'; '.join(drug.reasons)}."
            return f"{told} Instead: {instead}." if instead else told
        case "not-until-checked":
            return f"{do.rstrip('.')}: not until checked, {', '.join(drug.reasons)}."
    return do


def _difficulty(picture: Picture, assessment: Assessment, step: Step) -> tuple[int, tuple[str, ...]]:
    weights = []
    for state in assessment.factors:
        weight = picture.assessor.rulebook.factors[state.id].harder_steps.get(step.id, 0)
        truth = picture.factor_on_record(state.id)
        if weight and truth is not False:
            weights.append((weight, state.label if truth else f"{state.label} (may hold)", truth is True))
    # Kinds of the same trouble do not pile up: the heaviest counts, and one more where another factor adds to it.
    heaviest = max((weight for weight, _, _ in weights), default=0)
    extra = 1 if sum(certain for _, _, certain in weights) > 1 else 0
    return step.difficulty + heaviest + extra, tuple(label for _, label, _ in weights)


def _lines(picture: Picture, step: Step) -> list[tuple[StepLine, bool]]:
    """The lines that hold on record; without a reading on record, also those that may hold."""
    found = []
    for line in step.lines:
        truth = picture.on_record(f"line:{step.id}:{line.id}")
        if truth is not False:
            found.append((line, truth is True))
    return found


def target_of(picture: Picture, stage: Stage, steps: tuple[PlannedStep, ...]) -> str | None:
    """The one step taught today: the first of the stage's targets that the trainee takes, else the last step taken."""
    shape = picture.assessor.rulebook.stages.shape(stage)
    taken = {step.id: step.label for step in steps if step.who == "trainee" and not step.idle}
    wanted = [name for name in (*shape.targets, *reversed(shape.named_steps)) if name in taken]
    return lower_first(taken[wanted[0]]) if wanted else None


def _once(texts: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
