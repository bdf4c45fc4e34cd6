"""`make_plan(assessment, rulebook, unit, stage)`: from an assessed case to the plan that is printed."""

from __future__ import annotations

from dataclasses import replace

from planner.assess.assessment import Assessment, Readiness, SettleReason
from planner.assess.trace import fill
from planner.case import Stage
from planner.plan.eye_plan import EyePlan, plan_eye
from planner.plan.gates import worse_words
from planner.plan.lens import plan_lens
from planner.plan.picture import Picture
from planner.plan.plan import KitItem, Plan, PlannedSupervision
from planner.plan.sources import cited
from planner.plan.steps import plan_steps, target_of
from planner.plan.stock import plan_kit
from planner.plan.supervision import default_stage, supervise
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.wording.words import lower_first

ASKED_IN_A_LINE = 6


def make_plan(assessment: Assessment, rulebook: Rulebook, unit: Unit | None = None, stage: Stage | None = None) -> Plan:
    """Plan an assessed case for a trainee's stage (default: the case's own). Pure; raises nothing of its own.

    An essential item of kit that the unit lacks makes the case settle-first; the plan's own assessment says so.
    """
    eye = plan_eye(assessment.case, rulebook)
    picture, choices = eye.picture, eye.choices
    kit = _kit(eye, unit)
    assessment = replace(assessment, readiness=_with_kit(assessment.readiness, kit))
    assumed = stage is None and assessment.case.planned_stage is None
    stage = default_stage(picture.assessor, assessment, stage)
    supervised, because = supervise(picture, assessment, stage)
    steps = plan_steps(picture, assessment, choices, eye.drugs, stage, supervised)
    supervision, unknown = rulebook.supervision, _not_recorded(picture, assessment)
    plan = Plan(
        assessment=assessment,
        unit=unit.unit if unit else None,
        choices=choices,
        steps=steps,
        drills=eye.drills,
        kit=kit,
        drugs=eye.drugs,
        formulary_note=rulebook.kit.formulary_note,
        cautions=eye.cautions,
        rules=eye.rules,
        supervision=PlannedSupervision(
            supervised.mode,
            supervised.by,
            stage,
            _stage_label(rulebook, stage, assumed),
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


def _stage_label(rulebook: Rulebook, stage: Stage, assumed: bool) -> str:
    label = rulebook.stages.shape(stage).label
    return rulebook.stages.assumed.replace("{stage}", lower_first(label)) if assumed else label


def ready_in(assessment: Assessment, rulebook: Rulebook, unit: Unit | None) -> Assessment:
    """The assessment as its plan in this unit has it: lacking kit that is essential settles first here too."""
    if unit is None or unit.kit is None:
        return assessment
    kit = _kit(plan_eye(assessment.case, rulebook), unit)
    return replace(assessment, readiness=_with_kit(assessment.readiness, kit))


def _kit(eye: EyePlan, unit: Unit | None) -> tuple[KitItem, ...]:
    needs = {drill.label: list(drill.kit) for drill in eye.drills if drill.likely or drill.in_full}
    return plan_kit(eye.picture, eye.choices, needs, unit)


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


def _with_kit(readiness: Readiness, kit: tuple[KitItem, ...]) -> Readiness:
    lacking = tuple(_lacking(item) for item in kit if item.lacking and item.need in ("always", "essential"))
    return Readiness("settle-first", (*readiness.because, *lacking)) if lacking else readiness


def _lacking(item: KitItem) -> SettleReason:
    wanted_for = ", ".join(lower_first(reason) for reason in item.for_)
    because = f"this unit lacks {lower_first(item.label)} (for: {wanted_for})"
    return SettleReason(f"kit-{item.id}", because, item.note, item.certain)
