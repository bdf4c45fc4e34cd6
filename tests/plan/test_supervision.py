"""Where the supervisor is: tier and stage decide, an operator's own probability only brings them closer."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values
from seeds import draws

from planner.assess.assess import Assessor, assess
from planner.case import STAGES, Stage
from planner.plan.allocation import allocate, supervise
from planner.plan.eye_plan import plan_eye
from planner.plan.make import make_plan
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
from planner.unit import Audit, Unit


def audited(events: int) -> Unit:
    audit = Audit(period="an invented year", events=events, cases=100_000, case_mix="assumed")
    return Unit(unit="invented", audit=audit)


@pytest.mark.parametrize("findings", [{}, {**WHITE}, {"phacodonesis": "yes"}], ids=["plain", "white", "loose"])
def test_a_patient_who_refused_a_trainee_is_ready_and_has_the_consultant_only(
    rulebook: Rulebook, findings: dict[str, str]
) -> None:
    eye = plain_eye(rulebook, trainee_involvement_agreed="no", **findings)
    for stage in STAGES:
        plan = make_plan(assess(eye, rulebook), rulebook, None, stage)
        assert (plan.assessment.readiness.state, plan.assessment.readiness.because) == ("ready", ())
        assert (plan.supervision.mode, plan.supervision.by) == ("consultant-only", "consultant")
        assert {step.who for step in plan.steps} == {"supervisor"}
        assert plan.supervision.trainee_steps == ()


def test_whether_the_patient_agreed_is_settled_first_when_it_was_not_recorded(rulebook: Rulebook) -> None:
    plan = make_plan(assess(plain_eye(rulebook, trainee_involvement_agreed="not-recorded"), rulebook), rulebook)
    assert plan.assessment.readiness.state == "settle-first"
    assert plan.supervision.mode != "consultant-only"
    assert any("not recorded" in reason.because for reason in plan.assessment.readiness.because)


def test_who_sits_down_does_not_move_the_tier(ready: Assessor, rulebook: Rulebook) -> None:
    for seed in range(20):
        case = as_case(ready.compiled, complete_values(ready.compiled, random.Random(seed), 0.9))
        tiers = {make_plan(assess(case, rulebook), rulebook, None, stage).assessment.tier.working for stage in STAGES}
        assert len(tiers) == 1


def test_the_operators_own_probability_never_sends_the_supervisor_away(ready: Assessor, rulebook: Rulebook) -> None:
    """At the published baseline, in a unit that hardly ever has a rupture, and in one that often does."""
    matrix = rulebook.supervision.matrix
    cases, closer = draws(100, 250), 0
    for seed in range(cases):
        draw = random.Random(seed)
        values = complete_values(ready.compiled, draw, 0.93)
        case = as_case(ready.compiled, [None if draw.random() < 0.05 else value for value in values])
        refused = case.findings.get("trainee_involvement_agreed") is False
        for unit in (None, audited(200), audited(9000)):
            assessment = assess(case, rulebook, unit)
            eye = plan_eye(assessment, rulebook, unit)
            for stage in STAGES:
                cell = matrix[assessment.tier.working][stage]
                found, because = supervise(eye, rulebook, stage)
                assert MODES.index(found.mode) >= MODES.index(cell.mode), (seed, stage)
                assert found.by == "consultant" or cell.by == "trainer", (seed, stage)
                assert (found == cell) == (len(because) == 1), because
                closer += found != cell and not refused
    assert closer > cases // 5


@pytest.mark.parametrize(
    ("stage", "findings", "mode", "by", "reasons"),
    [
        # Tier 1. Woman of 55, early: 0.75 % base odds x 3.73 = 2.7 %, below every limit: as the table has it.
        ("early", {}, "scrubbed", "trainer", 1),
        # Man of 75, middle: x 1.28 x 1.42 x 1.6 = 2.1 %.
        ("middle", {"age_years": "75", "sex": "male"}, "in-theatre", "trainer", 1),
        # Man of 92, late: x 1.28 x 2.37 x 1.6 = 3.5 %, above 3 %: from on site into theatre.
        ("late", {"age_years": "92", "sex": "male"}, "in-theatre", "trainer", 2),
        # The same at the early stage: x 3.73 = 7.9 %, above 6 %, and the trainer is scrubbed already.
        ("early", {"age_years": "92", "sex": "male"}, "scrubbed", "trainer", 1),
        # With glaucoma and diabetic retinopathy besides (x 1.30 x 1.63), tier 2: late, 7.1 %, scrubbed.
        (
            "late",
            {"age_years": "92", "sex": "male", "glaucoma": "open-angle", "glaucoma_advanced": "no",
             "diabetes": "yes", "diabetic_retinopathy": "yes"},
            "scrubbed",
            "trainer",
            2,
        ),
    ],
)  # fmt: skip
def test_a_high_probability_of_the_operators_own_brings_the_supervisor_closer(
    rulebook: Rulebook, stage: Stage, findings: dict[str, str], mode: str, by: str, reasons: int
) -> None:
    plan = make_plan(assess(plain_eye(rulebook, **findings), rulebook), rulebook, None, stage)
    assert (plan.supervision.mode, plan.supervision.by) == (mode, by)
    assert len(plan.supervision.because) == reasons, plan.supervision.because


def test_a_limit_that_changes_only_who_supervises_leaves_the_mode(rulebook: Rulebook) -> None:
    """With one row in place of the shipped ones: a consultant, from no nearer than in theatre."""
    row = rulebook.supervision.closer[0]
    asked = row.model_copy(
        update={"operator_probability_at_least": 0.0, "at_least_mode": "in-theatre", "by": "consultant"}
    )
    changed = replace(rulebook, supervision=rulebook.supervision.model_copy(update={"closer": [asked]}))
    plan = make_plan(assess(plain_eye(changed), changed), changed, None, "early")
    assert rulebook.supervision.matrix[1]["early"].mode == "scrubbed"
    assert (plan.supervision.mode, plan.supervision.by) == ("scrubbed", "consultant")


def test_steps_are_taken_up_to_the_stages_difficulty(ready: Assessor, rulebook: Rulebook) -> None:
    shapes = {shape.id: shape for shape in rulebook.stages.stages}
    own = {step.id: step.difficulty for step in rulebook.steps}
    lines = {step.id: step.lines for step in rulebook.steps}
    for seed in range(40):
        case = as_case(ready.compiled, complete_values(ready.compiled, random.Random(seed), 0.93))
        for stage in STAGES:
            plan = make_plan(assess(case, rulebook), rulebook, None, stage)
            mode, shape = plan.supervision.mode, shapes[stage]
            for step in plan.steps:
                allowed = mode != "consultant-only" and step.difficulty <= shape.takes_up_to
                if mode == "consultant-operates":
                    harder = step.difficulty - own[step.id]
                    allowed = step.id in shape.named_steps and harder <= shape.named_harder_up_to
                # A step in which the consultant does something is never the trainee's, however easy.
                written = [
                    rulebook.option(f"{c.choice}.{c.option}")[1] for c in plan.choices.values() if c.step == step.id
                ]
                written_lines = [line for line in lines[step.id] if line.id in step.rule_ids]
                if any(part.consultant_does for part in (*written, *written_lines)):
                    allowed = False
                assert (step.who == "trainee") is allowed, (seed, stage, step.id)


def test_of_an_eyes_plan_only_supervision_and_hands_hang_on_the_stage(rulebook: Rulebook) -> None:
    assessment = assess(plain_eye(rulebook, dilated_pupil_mm="4.5"), rulebook)
    eye = plan_eye(assessment, rulebook)
    first, *others = (allocate(eye, rulebook, stage) for stage in STAGES)
    assert len({(plan.supervision.mode, plan.trainee_steps) for plan in (first, *others)}) > 1
    for plan in others:
        steps = tuple(replace(step, who=old.who) for step, old in zip(plan.steps, first.steps, strict=True))
        assert replace(plan, supervision=first.supervision, steps=steps) == first
    assert allocate(allocate(eye, rulebook, "late", 4), rulebook, "early") == allocate(eye, rulebook, "early")
