"""The steps' sides: nothing is lost between them and the end, and what this eye makes harder is never cut."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from seeds import some_of

from planner.documents.plan.operation import (
    DETAILS,
    DO,
    Operation,
    StepDetail,
    StepParts,
    operation,
    operation_that_fits,
)
from planner.documents.plan.step import StepView
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.pdf import count_pages, font_faces
from planner.plan.plan import Plan

from .conftest import PlanOf, SheetsOf, squeezed


def lines_of(step: StepView) -> list[str]:
    hand_over = step.step.hand_over_if if step.step.who == "trainee" else ()
    pauses = [part for pair in step.pause for part in pair if part]
    gates = [part for pair in step.if_found for part in pair]
    return [*step.do, *gates, *step.also_if_found, *step.step.watch, *hand_over, *pauses]


@pytest.mark.parametrize("detail", DETAILS)
def test_what_is_told_and_the_rest_together_are_the_whole_step(plan: Plan, detail: object) -> None:
    shown = operation(PlanView(plan), detail)  # type: ignore[arg-type]
    assert [each.s.step.id for each in shown.steps] == [step.id for step in plan.steps]
    for each in shown.steps:
        parts = (each.shown, each.rest)
        printed = [line for part in parts for line in (*part.do, *part.later, *part.watch, *part.hand_over)]
        printed += [text for part in parts for pair in (*part.pause, *part.if_found) for text in pair]
        assert set(lines_of(each.s)) <= set(printed), each.s.step.id


@pytest.mark.parametrize("detail", DETAILS)
def test_what_this_eye_makes_harder_is_told_whole_and_every_pause_is_seen(plan_of: PlanOf, detail: object) -> None:
    plan = plan_of("phacomorphic-attack")
    for each in operation(PlanView(plan), detail).steps:  # type: ignore[arg-type]
        assert [what for what, _ in each.shown.pause] == [what for what, _ in each.s.pause]
        if each.s.step.harder_because:
            assert each.shown.do == each.s.do
            assert all(then for what, then in each.shown.pause) == all(then for what, then in each.s.pause)


def test_details_run_from_the_fullest_to_the_barest(plan: Plan) -> None:
    shown = PlanView(plan)
    told = [sum(len(str(each.shown)) for each in operation(shown, detail).steps) for detail in DETAILS]
    assert told == sorted(told, reverse=True)
    # In full but for what only several findings together would bring, which is told at the end whatever the room.
    assert [each.rest for each in operation(shown).shortened] == [
        StepParts((), (), step.also_if_found, (), (), ()) for step in shown.steps if step.also_if_found
    ]


@pytest.mark.parametrize(
    ("sides", "taken"),
    [
        (lambda told: 1, 0),  # everything fits one side, in the larger type
        (lambda told: 2 if told.shortened else 3, 2),  # nothing fits one side
        (lambda told: 9, len(DETAILS) - 1),  # nothing fits at all
    ],
)
def test_one_side_is_tried_before_two(plan_of: PlanOf, sides: Callable[[Operation], int], taken: int) -> None:
    shown = PlanView(plan_of("routine"))
    shown.steps = shown.steps[:3]  # few, so that none is left out as far too long to try
    assert operation_that_fits(shown, sides) == operation(shown, DETAILS[taken])


def test_questions_above_a_step_are_cut_only_when_three_sides_do_not_hold_them(plan_of: PlanOf) -> None:
    shown = PlanView(plan_of("tamsulosin-letter"))
    assert any(step.if_found for step in shown.steps)

    def taken(most: int) -> Operation:
        return operation_that_fits(shown, lambda made: most if any(each.shown.if_found for each in made.steps) else 1)

    assert any(each.shown.if_found for each in taken(3).steps)
    assert not any(each.shown.if_found for each in taken(4).steps)


@pytest.mark.parametrize("detail", DETAILS)
def test_a_bar_is_told_in_its_step_whatever_is_cut(plan_of: PlanOf, detail: StepDetail) -> None:
    shown = operation(PlanView(plan_of("phacomorphic-attack")), detail)
    told = " ".join(line for each in shown.steps for line in each.shown.do)
    for drug in ("Acetazolamide", "Mannitol", "Beta-blocker drops"):
        assert f"{drug} barred: " in told


def test_ordinary_lines_are_cut_as_set_in_one_paragraph(plan_of: PlanOf) -> None:
    shown = PlanView(plan_of("routine"))
    for room in (0, 1, 2, 3):
        for each in operation(shown, StepDetail(ordinary_do=room)).steps:
            assert each.s.ordinary and len(" ".join(each.shown.do)) <= room * DO
            assert (*each.shown.do, *each.rest.do) == each.s.do
            assert not each.rest.do or len(" ".join((*each.shown.do, each.rest.do[0]))) >= room * DO


@pytest.mark.parametrize("name", some_of(["routine", "phacomorphic-attack"], "routine"))
def test_steps_alone_take_the_sides_that_they_take_in_the_plan(plan_of: PlanOf, sheets_of: SheetsOf, name: str) -> None:
    sheets = sheets_of(name)
    last = next(at for at, sheet in enumerate(sheets) if "Take-over" in sheet)
    shown = PlanView(plan_of(name))
    steps = operation_that_fits(shown, lambda made: count_pages(html.page(shown, None, made, font_faces())))
    assert count_pages(html.page(shown, None, steps, font_faces())) == last


def test_steps_take_one_side_in_an_easy_eye_and_two_in_a_hard_one(sheets_of: SheetsOf) -> None:
    easy, hard = sheets_of("routine"), sheets_of("tense-white")
    assert "Take-over" in easy[1]
    assert "Take-over" not in hard[1] and "Take-over" in hard[2]


@pytest.mark.parametrize("name", ["routine", "tense-white", "every-limit-left", "half-filled"])
def test_every_line_of_every_step_is_printed_somewhere(plan_of: PlanOf, sheets_of: SheetsOf, name: str) -> None:
    plan = plan_of(name)
    # The head and foot of a page are drawn after its body; without them a line may run over the page's end.
    head = f"{plan.assessment.case.eye.upper()}EYE{squeezed(plan.assessment.case.reference)}page"
    printed = "".join(sheet.partition(head)[0] for sheet in sheets_of(name))
    for step in PlanView(plan).steps:
        for line in lines_of(step):
            assert squeezed(line) in printed, (step.step.id, line)
