"""`make_plan(assessment, rulebook, unit, stage)`: from an assessed case to the plan that is printed."""

from __future__ import annotations

from dataclasses import replace

from planner.assess.assess import assessor
from planner.assess.assessment import Assessment, Readiness, SettleReason
from planner.assess.trace import fill
from planner.case import Stage
from planner.plan.choices import Picture, choose
from planner.plan.lens import plan_lens
from planner.plan.plan import (
    KitItem,
    Plan,
    PlannedCaution,
    PlannedDrill,
    PlannedRule,
    PlannedSupervision,
)
from planner.plan.sources import cited
from planner.plan.steps import plan_steps
from planner.plan.stock import plan_drugs, plan_kit
from planner.plan.supervision import default_stage, supervise
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.wording import lower_first


def make_plan(assessment: Assessment, rulebook: Rulebook, unit: Unit | None = None, stage: Stage | None = None) -> Plan:
    """Plan an assessed case for a trainee's stage (default: the case's own). Pure; raises nothing of its own.

    An essential item of kit that the unit lacks makes the case settle-first; the plan's own assessment says so.
    """
    picture = Picture(assessor(rulebook), assessment.case)
    choices = choose(picture)
    picture.as_planned(choices)
    drills = _drills(picture)
    kit = plan_kit(picture, choices, {d.label: list(d.kit) for d in drills if d.likely or d.may_be_likely}, unit)
    assessment = replace(assessment, readiness=_with_kit(assessment.readiness, kit))
    stage = default_stage(picture.assessor, assessment, stage)
    supervised, because = supervise(picture, assessment, stage)
    steps = plan_steps(picture, assessment, choices, stage, supervised)
    supervision = rulebook.supervision
    plan = Plan(
        assessment=assessment,
        unit=unit.unit if unit else None,
        choices=choices,
        steps=steps,
        drills=drills,
        kit=kit,
        drugs=plan_drugs(picture, choices),
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
        ),
        lens=plan_lens(assessment.case, rulebook),
        recheck=tuple((line.ask, line.worse_than) for line in rulebook.theatre.recheck),
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


def _drills(picture: Picture) -> tuple[PlannedDrill, ...]:
    ordered: list[tuple[int, PlannedDrill]] = []
    for drill in picture.assessor.rulebook.drills.values():
        truth = picture.line(f"drill:{drill.id}")
        steps = tuple(step.do for step in drill.steps)
        ordered.append(
            (
                0 if truth else 1 if truth is None else 2,
                PlannedDrill(
                    drill.id,
                    drill.label,
                    truth is True,
                    truth is None,
                    tuple(drill.signs),
                    drill.stop_first,
                    steps,
                    drill.call,
                    tuple(drill.kit),
                    drill.leave,
                    drill.basis.words,
                ),
            )
        )
    return tuple(drill for _, drill in sorted(ordered, key=lambda pair: pair[0]))


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
    lacking = tuple(_lacking(item) for item in kit if item.lacking and item.need != "preferred")
    return Readiness("settle-first", (*readiness.because, *lacking)) if lacking else readiness


def _lacking(item: KitItem) -> SettleReason:
    wanted_for = ", ".join(lower_first(reason) for reason in item.for_)
    because = f"this unit lacks {lower_first(item.label)} (for: {wanted_for})"
    return SettleReason(f"kit-{item.id}", because, item.note, item.certain)
