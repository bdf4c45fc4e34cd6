"""A plan as approved: what the consultant changed is in force everywhere, what the rulebook said stays beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest

from planner.assess.assess import assess
from planner.case import STAGES
from planner.documents.plan.text import render_text
from planner.documents.plan.view import PlanView
from planner.documents.plan.words import remarks
from planner.exchange.case_reader import ReadCase, read_cases
from planner.plan.allocation import allocate
from planner.plan.approved import (
    ApprovedScope,
    NotCoveredError,
    OperatingPair,
    allocated,
    refused,
    served,
    with_approval,
)
from planner.plan.make import make_plan
from planner.plan.plan import Approval, Hands, Plan
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, Mode

CASES = Path(__file__).parents[2] / "demo_cases" / "cases"


def plan_of(name: str, rulebook: Rulebook) -> Plan:
    [read] = read_cases(str(CASES / f"{name}.yaml"), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    return make_plan(assess(read.case, rulebook), rulebook)


def approval(plan: Plan, tier: int) -> Approval:
    return Approval(
        "Invented Consultant", "2026-11-20T17:05", plan.assessment.tier.working, tier, "dye in the room", "a first time"
    )


def named(plan: Plan, tier: int, mode: str | None = None, who: Mapping[str, Hands] | None = None) -> ApprovedScope:
    """What a consultant gave by name: the stage of this plan, and no other."""
    return ApprovedScope("as-named", tier, plan.supervision.stage, cast(Mode, mode or plan.supervision.mode), who or {})


@pytest.fixture
def routine(rulebook: Rulebook) -> Plan:
    return plan_of("routine", rulebook)


def test_a_tier_brings_its_own_supervision_from_the_rulebook(routine: Plan, rulebook: Rulebook) -> None:
    matrix, stage = rulebook.supervision.matrix, routine.supervision.stage
    for tier in (1, 2, 3, 4):
        given = allocate(routine, rulebook, stage, tier).supervision
        assert (given.mode, given.by) == (matrix[tier][stage].mode, matrix[tier][stage].by)
    same = allocate(routine, rulebook, stage, routine.assessment.tier.working)
    assert same.hands == {step.id: step.who for step in routine.steps}


def test_both_tiers_and_what_else_differs_print(routine: Plan, rulebook: Rulebook) -> None:
    assert routine.assessment.tier.working == 1
    given = allocate(routine, rulebook, routine.supervision.stage, 4)
    made = with_approval(
        routine, rulebook, approval(routine, 4), named(routine, 4, given.supervision.mode, given.hands)
    )
    assert made.supervision.mode == "consultant-operates" and "consultant operates" in made.supervision.words
    shown = PlanView(made)
    assert (shown.tier, shown.assessment.tier.working) == (4, 1)
    assert shown.tier_approved == "Approved so; by the rulebook tier 1"
    text = " ".join(render_text(made).split())
    assert "TIER 4" in text and "Tier by the rulebook 1. Tier approved 4" in text
    planned = routine.supervision.mode.replace("-", " ")
    assert "As named alone: early." in text
    assert f"A first time. On condition: dye in the room. By the rulebook: {planned}. Approved: consultant oper" in text
    assert "Invented Consultant" in text and "20 November 2026, 17:05" in text


def test_a_step_in_other_hands_is_in_them_everywhere(routine: Plan, rulebook: Rulebook) -> None:
    step = next(step for step in routine.steps if step.who == "trainee")
    made = with_approval(routine, rulebook, approval(routine, 1), named(routine, 1, who={step.id: "supervisor"}))
    assert next(s for s in made.steps if s.id == step.id).who == "supervisor"
    assert step.label in routine.supervision.trainee_steps and step.label not in made.supervision.trainee_steps
    assert f"To the supervisor instead: {step.label[:1].lower()}{step.label[1:]}." in remarks(made.approval)


def test_many_steps_in_other_hands_are_counted_so_that_the_first_side_holds_them(
    routine: Plan, rulebook: Rulebook
) -> None:
    who = {step.id: "supervisor" for step in routine.steps if step.who == "trainee"}
    made = with_approval(routine, rulebook, approval(routine, 1), named(routine, 1, who=who))
    assert f"To the supervisor instead: {len(who)} steps, as set out below." in remarks(made.approval)


def test_what_is_approved_as_planned_changes_nothing_but_the_approval(routine: Plan, rulebook: Rulebook) -> None:
    made = with_approval(routine, rulebook, approval(routine, 1), named(routine, 1))
    assert replace(made, approval=None) == routine
    assert PlanView(made).tier_approved == "" and made.approval is not None and made.approval.tier_approved == 1


def test_no_trainee_takes_a_step_where_the_consultant_is_alone(routine: Plan, rulebook: Rulebook) -> None:
    made = with_approval(routine, rulebook, approval(routine, 4), named(routine, 4, "consultant-only"))
    assert {step.who for step in made.steps} == {"supervisor"} and made.supervision.trainee_steps == ()


def test_a_patient_who_did_not_agree_to_a_trainee_is_not_overruled(routine: Plan, rulebook: Rulebook) -> None:
    case = routine.assessment.case.with_finding("trainee_involvement_agreed", False)
    plan = make_plan(assess(case, rulebook), rulebook)
    assert plan.supervision.mode == "consultant-only"
    assert "has not agreed" in refused(plan, "scrubbed", {})
    assert "has not agreed" in refused(plan, "consultant-only", {"hydro": "trainee"})
    assert refused(plan, "consultant-only", {}) == "" == refused(routine, "scrubbed", {"hydro": "trainee"})


def test_the_table_follows_whoever_operates_and_is_never_lighter_than_its_row(
    routine: Plan, rulebook: Rulebook
) -> None:
    """As the table of rules/supervision.yaml has it; the operator's own probability may only tighten it."""
    for tier in (1, 2, 3, 4):
        for stage in STAGES:
            plan = make_plan(routine.assessment, rulebook, None, stage)
            given = ApprovedScope("table", tier, "middle", None)
            made = with_approval(plan, rulebook, approval(routine, tier), given)
            assert MODES.index(made.supervision.mode) >= MODES.index(rulebook.supervision.matrix[tier][stage].mode)
            assert made.approval is not None and made.approval.covers == "table"


def test_as_named_covers_its_own_stage_and_no_other(routine: Plan, rulebook: Rulebook) -> None:
    """Approved for an early stage, printed for any other: refused, whatever the steps are."""
    given = named(routine, 1)
    assert given.stage == "early"
    for stage in STAGES:
        plan = make_plan(routine.assessment, rulebook, None, stage)
        if stage == "early":
            assert allocated(plan, rulebook, given).supervision.mode == given.mode
            continue
        with pytest.raises(NotCoveredError, match="approved as named for Early"):
            with_approval(plan, rulebook, approval(routine, 1), given, OperatingPair(stage))


def test_a_consultant_alone_is_within_every_approval_and_no_step_is_a_trainee_s(
    routine: Plan, rulebook: Rulebook
) -> None:
    made = with_approval(routine, rulebook, approval(routine, 1), named(routine, 1), OperatingPair(None))
    assert made.supervision.mode == "consultant-only" and made.supervision.trainee_steps == ()
    assert {step.who for step in made.steps} == {"supervisor"} and made.supervision.target is None


def test_a_supervisor_who_may_only_be_closer_prints_closer(routine: Plan, rulebook: Rulebook) -> None:
    given = ApprovedScope("table", 1, "middle", None)
    late = make_plan(routine.assessment, rulebook, None, "late")
    assert (
        with_approval(late, rulebook, approval(routine, 1), given, OperatingPair("late")).supervision.mode == "on-site"
    )
    made = with_approval(late, rulebook, approval(routine, 1), given, OperatingPair("late", ("scrubbed",)))
    assert made.supervision.mode == "scrubbed" and "scrubbed" in made.supervision.words
    assert served("in-theatre", ("on-site",)) is None


def test_a_trainee_takes_no_step_that_they_are_not_cleared_for(routine: Plan, rulebook: Rulebook) -> None:
    plan = make_plan(routine.assessment, rulebook, None, "steps-only")
    given = ApprovedScope("table", 1, "middle", None)
    every = with_approval(plan, rulebook, approval(routine, 1), given, OperatingPair("steps-only"))
    some = with_approval(
        plan, rulebook, approval(routine, 1), given, OperatingPair("steps-only", None, frozenset({"ovd"}))
    )
    assert len(every.supervision.trainee_steps) > 1
    assert [step.id for step in some.steps if step.who == "trainee"] == ["ovd"]


def test_a_step_written_for_the_consultant_s_own_hands_cannot_be_given_away(routine: Plan, rulebook: Rulebook) -> None:
    steps = tuple(replace(step, reserved=step.id == "nucleus") for step in routine.steps)
    told = refused(replace(routine, steps=steps), "consultant-operates", {"nucleus": "trainee"})
    assert "has the consultant do it" in told
    assert refused(replace(routine, steps=steps), "consultant-operates", {"nucleus": "supervisor"}) == ""
