"""`make_plan(assessment, rulebook, unit, stage)`: from an assessed case to the plan that is printed."""

from __future__ import annotations

from dataclasses import replace

from planner.assess.assess import assessor
from planner.assess.assessment import Assessment, Readiness, SettleReason
from planner.assess.trace import fill
from planner.case import Stage
from planner.plan.choices import choose
from planner.plan.gates import worse_words
from planner.plan.lens import plan_lens
from planner.plan.picture import Picture
from planner.plan.plan import (
    Chosen,
    KitItem,
    Plan,
    PlannedCaution,
    PlannedDrill,
    PlannedRule,
    PlannedSupervision,
)
from planner.plan.sources import cited
from planner.plan.steps import plan_steps, target_of, with_bar
from planner.plan.stock import plan_drugs, plan_kit, planned_drug
from planner.plan.supervision import default_stage, supervise
from planner.rulebook.plan_shapes import Drill, DrillStep
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.wording import lower_first

LIKELY_AT_MOST = 3
ASKED_IN_A_LINE = 6


def make_plan(assessment: Assessment, rulebook: Rulebook, unit: Unit | None = None, stage: Stage | None = None) -> Plan:
    """Plan an assessed case for a trainee's stage (default: the case's own). Pure; raises nothing of its own.

    An essential item of kit that the unit lacks makes the case settle-first; the plan's own assessment says so.
    """
    picture = Picture(assessor(rulebook), assessment.case)
    choices = choose(picture)
    picture.as_planned(choices)
    drills = _drills(picture)
    kit = _kit(picture, choices, drills, unit)
    assessment = replace(assessment, readiness=_with_kit(assessment.readiness, kit))
    stage = default_stage(picture.assessor, assessment, stage)
    supervised, because = supervise(picture, assessment, stage)
    drugs = plan_drugs(picture, choices)
    steps = plan_steps(picture, assessment, choices, drugs, stage, supervised)
    supervision, unknown = rulebook.supervision, _not_recorded(picture, assessment)
    plan = Plan(
        assessment=assessment,
        unit=unit.unit if unit else None,
        choices=choices,
        steps=steps,
        drills=drills,
        kit=kit,
        drugs=drugs,
        formulary_note=rulebook.kit.formulary_note,
        cautions=_cautions(picture),
        rules=_rules(picture),
        supervision=PlannedSupervision(
            supervised.mode,
            supervised.by,
            stage,
            next(s.label for s in rulebook.stages.stages if s.id == stage),
            f"{supervision.modes[supervised.mode]} Supervisor: {supervision.by[supervised.by]}.",
            because,
            tuple(step.label for step in steps if step.who == "trainee"),
            tuple(supervision.hand_back),
            supervision.take_over_words,
            unit.supervisor_contact if unit else None,
            target_of(picture, stage, steps),
        ),
        lens=plan_lens(assessment.case, rulebook),
        recheck=(*unknown, *_recheck(picture)),
        recheck_unknown=len(unknown),
        recheck_then=rulebook.theatre.recheck_then,
        deferral=tuple(rulebook.theatre.deferral),
        range_note=rulebook.theatre.range_note,
        score_note=rulebook.theatre.score_note,
        scale_note=rulebook.tiers.scale_note,
        sources=(),
        title=rulebook.header.title,
        draft_line=None if rulebook.header.status == "in-force" else rulebook.header.draft_line,
    )
    return replace(plan, sources=cited(plan, rulebook))


def ready_in(assessment: Assessment, rulebook: Rulebook, unit: Unit | None) -> Assessment:
    """The assessment as its plan in this unit has it: lacking kit that is essential settles first here too."""
    if unit is None or unit.kit is None:
        return assessment
    picture = Picture(assessor(rulebook), assessment.case)
    choices = choose(picture)
    picture.as_planned(choices)
    kit = _kit(picture, choices, _drills(picture), unit)
    return replace(assessment, readiness=_with_kit(assessment.readiness, kit))


def _kit(
    picture: Picture, choices: dict[str, Chosen], drills: tuple[PlannedDrill, ...], unit: Unit | None
) -> tuple[KitItem, ...]:
    return plan_kit(picture, choices, {d.label: list(d.kit) for d in drills if d.likely or d.in_full}, unit)


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


def _recheck(picture: Picture) -> tuple[tuple[str, str], ...]:
    lines = picture.assessor.rulebook.theatre.recheck
    asked = [line for place, line in enumerate(lines) if picture.on_record(f"recheck:{place}") is not False]
    vocabulary = picture.assessor.rulebook.vocabulary
    return tuple(
        (fill(line.ask, picture.case, vocabulary), fill(line.worse_than, picture.case, vocabulary)) for line in asked
    )


def _not_recorded(picture: Picture, assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """What is not recorded and can still be asked or looked for in theatre, a line for each sitting.

    It stops at whatever is worse than the plain value that the plan was written with, the most decisive first.
    """
    vocabulary, theatre = picture.assessor.rulebook.vocabulary, picture.assessor.rulebook.theatre
    lines = []
    for look in assessment.looks:
        seen = [vocabulary.by_id[name] for name in look.findings if vocabulary.by_id[name].seen_at is not None]
        worse = [words for finding in seen if (words := worse_words(picture, finding))]
        more = len(worse) - ASKED_IN_A_LINE
        if more > 1:
            worse = [*worse[:ASKED_IN_A_LINE], theatre.recheck_more.replace("{number}", str(more))]
        if worse:
            lines.append((f"{theatre.recheck_not_recorded}: {lower_first(look.label)}", ", ".join(worse)))
    return tuple(lines)


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


def _with_kit(readiness: Readiness, kit: tuple[KitItem, ...]) -> Readiness:
    lacking = tuple(_lacking(item) for item in kit if item.lacking and item.need in ("always", "essential"))
    return Readiness("settle-first", (*readiness.because, *lacking)) if lacking else readiness


def _lacking(item: KitItem) -> SettleReason:
    wanted_for = ", ".join(lower_first(reason) for reason in item.for_)
    because = f"this unit lacks {lower_first(item.label)} (for: {wanted_for})"
    return SettleReason(f"kit-{item.id}", because, item.note, item.certain)
