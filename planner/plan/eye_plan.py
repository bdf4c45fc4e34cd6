"""What depends on the eye alone, made once for an eye whoever sits down: choices, drills, drugs, cautions, lines."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from functools import lru_cache

from planner.assess.assess import assessor
from planner.assess.trace import fill
from planner.case import Case
from planner.plan.choices import choose
from planner.plan.picture import Picture
from planner.plan.plan import Chosen, PlannedCaution, PlannedDrill, PlannedDrug, PlannedRule
from planner.plan.steps import with_bar
from planner.plan.stock import plan_drugs, planned_drug
from planner.rulebook.plan_shapes import Drill, DrillStep
from planner.rulebook.rulebook import Rulebook

LIKELY_AT_MOST = 3
REMEMBERED_AT_MOST = 200


@dataclass(frozen=True, eq=False)
class EyePlan:
    """The part of a plan that no stage, tier or unit changes. `picture` takes the choices as planned."""

    picture: Picture
    choices: dict[str, Chosen]
    drills: tuple[PlannedDrill, ...]
    drugs: tuple[PlannedDrug, ...]
    cautions: tuple[PlannedCaution, ...]
    rules: tuple[PlannedRule, ...]


@dataclass(frozen=True)
class _Eye:
    """An eye by its values in force: what is made of it serves every case that has the same."""

    key: Hashable
    case: Case = field(compare=False)
    rulebook: Rulebook = field(compare=False)


def plan_eye(case: Case, rulebook: Rulebook) -> EyePlan:
    """The eye's part of its plan. Eyes with the same values in force have the same one; the last few are kept."""
    return _planned(_Eye((id(assessor(rulebook)), tuple(case.values(rulebook.vocabulary))), case, rulebook))


@lru_cache(maxsize=REMEMBERED_AT_MOST)
def _planned(eye: _Eye) -> EyePlan:
    picture = Picture(assessor(eye.rulebook), eye.case)
    choices = choose(picture)
    picture.as_planned(choices)
    drugs = plan_drugs(picture, choices)
    return EyePlan(picture, choices, _drills(picture), drugs, _cautions(picture), _rules(picture))


def _drills(picture: Picture) -> tuple[PlannedDrill, ...]:
    """Drills by how likely the eye on record makes them, then by danger; of those it makes likely the first three."""
    ordered = sorted(
        ((_weight(picture, drill), drill) for drill in picture.assessor.rulebook.drills.values()),
        key=lambda pair: (-pair[0], not pair[1].always_in_full, -pair[1].danger, pair[1].id),
    )
    planned = []
    for place, (weight, drill) in enumerate(ordered):
        likely = weight > 0 and place < LIKELY_AT_MOST
        planned.append(
            PlannedDrill(
                drill.id,
                drill.label,
                likely,
                weight == 0 and picture.line(f"drill:{drill.id}") is None,
                likely or drill.always_in_full,
                tuple(drill.signs),
                drill.stop_first,
                tuple(_drill_step(picture, step) for step in drill.steps),
                drill.call,
                tuple(drill.kit),
                drill.leave,
                drill.basis.words,
            )
        )
    return tuple(planned)


def _drill_step(picture: Picture, step: DrillStep) -> str:
    drugs = picture.assessor.rulebook.kit.drugs
    drug = next((drug for drug in drugs if drug.id == step.drug), None)
    return step.do if drug is None else with_bar(step.do, planned_drug(picture, drug))


def _weight(picture: Picture, drill: Drill) -> int:
    holding = (
        likely.weight
        for place, likely in enumerate(drill.likely)
        if picture.on_record(f"drill:{drill.id}:{place}") is True
    )
    return max(holding, default=0)


def _cautions(picture: Picture) -> tuple[PlannedCaution, ...]:
    found = []
    for caution in picture.assessor.rulebook.cautions.values():
        truth = picture.line(f"caution:{caution.id}")
        if truth is not False:
            text = fill(caution.text, picture.case, picture.assessor.rulebook.vocabulary)
            found.append(PlannedCaution(caution.id, text, truth is True, caution.basis.words))
    return tuple(sorted(found, key=lambda caution: not caution.certain))


def _rules(picture: Picture) -> tuple[PlannedRule, ...]:
    forces = ("withhold", "require", "order", "prefer", "tell")
    found = []
    for rule in picture.assessor.rulebook.interactions.rules:
        truth = picture.line(f"rule:{rule.id}")
        if truth is not False:
            about = next(iter(rule.of.values()))
            found.append(
                PlannedRule(
                    rule.id,
                    rule.force,
                    picture.names.get(about, about),
                    rule.text,
                    rule.instead,
                    rule.hazard,
                    truth is True,
                    rule.basis.words,
                )
            )
    return tuple(sorted(found, key=lambda rule: (not rule.certain, forces.index(rule.force))))
