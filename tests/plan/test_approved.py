"""A plan as approved: what the consultant changed is in force everywhere, what the rulebook said stays beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from planner.assess.assess import assess
from planner.documents.text import render_text
from planner.documents.view import view
from planner.exchange.cases import ReadCase, read_cases
from planner.plan.approved import allocation_for, refused, with_approval
from planner.plan.make import make_plan
from planner.plan.plan import Approval, Plan
from planner.rulebook.rulebook import Rulebook

CASES = Path(__file__).parents[2] / "demo_cases" / "cases"


def plan_of(name: str, rulebook: Rulebook) -> Plan:
    [read] = read_cases(str(CASES / f"{name}.yaml"), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    return make_plan(assess(read.case, rulebook), rulebook)


def approval(plan: Plan, tier: int) -> Approval:
    return Approval(
        "Invented Consultant", "2026-11-20T17:05", plan.assessment.tier.working, tier, "dye in the room", "a first time"
    )


@pytest.fixture
def routine(rulebook: Rulebook) -> Plan:
    return plan_of("routine", rulebook)


def test_a_tier_brings_its_own_supervision_from_the_rulebook(routine: Plan, rulebook: Rulebook) -> None:
    matrix, stage = rulebook.supervision.matrix, routine.supervision.stage
    for tier in (1, 2, 3, 4):
        given = allocation_for(routine, rulebook, tier)
        assert (given.mode, given.by) == (matrix[tier][stage].mode, matrix[tier][stage].by)
    same = allocation_for(routine, rulebook, routine.assessment.tier.working)
    assert same.who == {step.id: step.who for step in routine.steps}


def test_both_tiers_and_what_else_differs_print(routine: Plan, rulebook: Rulebook) -> None:
    assert routine.assessment.tier.working == 1
    given = allocation_for(routine, rulebook, 4)
    made = with_approval(routine, rulebook, approval(routine, 4), given.mode, given.who)
    assert made.supervision.mode == "consultant-operates" and "consultant operates" in made.supervision.words
    shown = view(made)
    assert (shown.tier.number, shown.tier.by_rulebook) == ("4", "1")
    assert shown.tier.approved == "Approved so; by the rulebook tier 1"
    text = " ".join(render_text(made).split())
    assert "TIER 4" in text and "Tier by the rulebook 1. Tier approved 4" in text
    planned = routine.supervision.mode.replace("-", " ")
    assert f"A first time. On condition: dye in the room. By the rulebook: {planned}. Approved: consultant oper" in text
    assert "Invented Consultant" in text and "20 November 2026, 17:05" in text


def test_a_step_in_other_hands_is_in_them_everywhere(routine: Plan, rulebook: Rulebook) -> None:
    step = next(step for step in routine.steps if step.who == "trainee")
    made = with_approval(routine, rulebook, approval(routine, 1), routine.supervision.mode, {step.id: "supervisor"})
    assert next(s for s in made.steps if s.id == step.id).who == "supervisor"
    assert step.label in routine.supervision.trainee_steps and step.label not in made.supervision.trainee_steps
    assert f"To the supervisor instead: {step.label[:1].lower()}{step.label[1:]}." in view(made).approval.remarks


def test_many_steps_in_other_hands_are_counted_so_that_the_first_side_holds_them(
    routine: Plan, rulebook: Rulebook
) -> None:
    who = {step.id: "supervisor" for step in routine.steps if step.who == "trainee"}
    made = with_approval(routine, rulebook, approval(routine, 1), routine.supervision.mode, who)
    assert f"To the supervisor instead: {len(who)} steps, as set out below." in view(made).approval.remarks


def test_what_is_approved_as_planned_changes_nothing_but_the_approval(routine: Plan, rulebook: Rulebook) -> None:
    made = with_approval(routine, rulebook, approval(routine, 1), routine.supervision.mode, {})
    assert replace(made, approval=None) == routine
    assert view(made).tier.approved == "" and view(made).approval.tier == "1"


def test_no_trainee_takes_a_step_where_the_consultant_is_alone(routine: Plan, rulebook: Rulebook) -> None:
    made = with_approval(routine, rulebook, approval(routine, 4), "consultant-only", {})
    assert {step.who for step in made.steps} == {"supervisor"} and made.supervision.trainee_steps == ()


def test_a_patient_who_did_not_agree_to_a_trainee_is_not_overruled(routine: Plan, rulebook: Rulebook) -> None:
    case = routine.assessment.case.with_finding("trainee_involvement_agreed", False)
    plan = make_plan(assess(case, rulebook), rulebook)
    assert plan.supervision.mode == "consultant-only"
    assert "has not agreed" in refused(plan, "scrubbed", {})
    assert "has not agreed" in refused(plan, "consultant-only", {"hydro": "trainee"})
    assert refused(plan, "consultant-only", {}) == "" == refused(routine, "scrubbed", {"hydro": "trainee"})
