"""The preparation as another program reads it back: its sides, all that the plan holds, where things lie, type."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

import pytest
from random_cases import as_case, partly_recorded
from seeds import draws

from planner.assess.assess import Assessor, assess
from planner.claims import Basis
from planner.documents.plan.view import PlanView
from planner.documents.printing.pdf import render_pdf
from planner.plan.make import make_plan
from planner.plan.plan import Approval, Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

from .conftest import DEMO, PRINTED, PlanOf
from .layout_faults import crossed, orphan_headings, outside, overlaps, split_rows
from .sheet import Printed, printed

MOST_SIDES, MOST_SIDES_ROUTINE = 8, 4
SMALLEST_PT, BODY_PT = 8.5, 9.5
SheetOf = Callable[[str], Printed]


@pytest.fixture(scope="module")
def sheet_of(plan_of: PlanOf) -> SheetOf:
    return cache(lambda name: printed(render_pdf(plan_of(name), ("preparation",))))


def text_of(sheet: Printed) -> str:
    """What is printed, in the order of its tags; the running head and foot are not tagged."""
    runs: dict[tuple[int, int], list[str]] = {}
    for number, page in enumerate(sheet.sheets):
        for text in page.texts:
            runs.setdefault((number, text.mark), []).append(text.words)
    return bare("".join("".join(runs.get((leaf.page, leaf.mark), [])) for leaf in sheet.leaves))


def bare(text: str) -> str:
    """Letters, figures and signs alone: white space goes, and the hyphens, which pdfium takes for a word's division
    where a line ends with one."""
    return "".join(sign for sign in text.casefold() if not sign.isspace() and sign not in "-\x02\ufffe")


def said(plan: Plan) -> Iterator[str]:
    """Every text of the plan that the preparation owes its reader."""
    assessment = plan.assessment
    for reason in assessment.readiness.because:
        yield from (reason.text, reason.settled_by, *reason.findings)
    for lever in assessment.levers:
        yield from (lever.label, lever.to, lever.how)
    yield from assessment.queries
    for state in assessment.factors:
        if state.state == "holds":
            yield from (state.label, state.because, state.counts)
    for look in assessment.looks:
        yield from (look.label, f"{look.minutes} min", look.who, *look.labels)
    yield from (reason.label for reason in (*assessment.tier.decided_by, *assessment.tier.on_record_by))
    for uncounted in assessment.probability.not_counted:
        yield uncounted.label
        yield from (rate.text for rate in uncounted.rates if uncounted.certain)
    yield from (assessment.probability.model.population, *assessment.probability.model.limits, plan.range_note)
    for score in assessment.published_scores:
        yield from (score.authors, *(group.label for group in score.groups))
    yield from (plan.supervision.words, plan.supervision.take_over_words, *plan.supervision.hand_back)
    yield from (plan.score_note, plan.formulary_note, *plan.deferral)
    yield from of_steps(plan)
    for drill in plan.drills:
        yield from (drill.label, drill.stop_first)
        if drill.in_full:
            yield from (*drill.signs, *drill.steps, drill.call, drill.leave, *of_basis(plan, drill.basis))
    for item in plan.kit:
        yield from (item.label, item.note)
    for drug in plan.drugs:
        yield from (drug.label, drug.route, drug.concentration, drug.dose, drug.maximum or "")
        yield from (*drug.reasons, *drug.instead, *drug.contraindications, *drug.check, *of_basis(plan, drug.basis))
    lens = plan.lens
    yield from (lens.material or "", lens.biometry_reference or "", lens.captured, lens.note)
    yield from (row.table for row in lens.sulcus)
    for caution in plan.cautions:
        if caution.certain or not plan.has_technique:
            yield from (caution.text, *of_basis(plan, caution.basis))
    for rule in plan.rules:
        yield from (rule.text, rule.instead or "", rule.hazard or "", *of_basis(plan, rule.basis))
    yield from (source.citation for source in PlanView(plan).sources)


def of_steps(plan: Plan) -> Iterator[str]:
    for step in plan.steps:
        yield from (step.label, *step.think, step.done_well)
        if not plan.has_technique:
            continue
        yield from (step.headline, *step.do, *step.watch)
        for pause in step.pause_if:
            yield from (pause.if_, pause.then)
        yield from step.hand_over_if if step.who == "trainee" else ()
        for gate in step.gates:
            yield from (*gate.named, gate.label)
            yield from (gate.before,) if gate.before and not gate.once_clear else ()
            yield from gate.do if gate.option is None else ()
    for choice in plan.choices.values() if plan.has_technique else ():
        yield from (choice.way.why, *of_basis(plan, choice.way.basis))
        yield from (other.label for other in choice.rejected if other.possible)


def of_basis(plan: Plan, basis: Basis) -> tuple[str, ...]:
    return (basis.place if any(source.id == basis.source for source in plan.sources) else basis.words,)


def lacking(plan: Plan, sheet: Printed) -> list[str]:
    """What is owed and not there; capitals at the start and the stop at the end are the sentence's, not the text's."""
    there = text_of(sheet)
    return [text for text in said(plan) if bare(text).rstrip(".") not in there]


@pytest.mark.parametrize("name", PRINTED)
def test_nothing_of_the_plan_is_left_out(plan_of: PlanOf, sheet_of: SheetOf, name: str) -> None:
    assert not lacking(plan_of(name), sheet_of(name))


def test_what_another_eye_has_is_missed(plan_of: PlanOf, sheet_of: SheetOf) -> None:
    assert len(lacking(plan_of("tense-white"), sheet_of("routine"))) > 50


def test_an_approval_is_said_by_whom_and_why(plan_of: PlanOf) -> None:
    given = Approval(
        "Dr Invented", "2026-11-02T17:05", 3, 4, "ultrasound first", "one seeing eye", "Consultant operates"
    )
    there = text_of(printed(render_pdf(replace(plan_of("tense-white"), approval=given), ("preparation",))))
    for text in (
        "Approved by Dr Invented, 2 November 2026, 17:05",
        "one seeing eye",
        "ultrasound first",
        "by the rulebook tier 3",
    ):
        assert bare(text) in there


@pytest.mark.parametrize("name", PRINTED)
def test_at_most_eight_sides_and_four_for_a_routine_eye(sheet_of: SheetOf, name: str) -> None:
    assert len(sheet_of(name).sheets) <= (MOST_SIDES_ROUTINE if name == "routine" else MOST_SIDES)


@pytest.mark.parametrize("check", [orphan_headings, split_rows, outside, overlaps, crossed], ids=lambda f: f.__name__)
@pytest.mark.parametrize("name", PRINTED)
def test_no_fault_of_layout(sheet_of: SheetOf, name: str, check: Callable[[Printed], Iterator[str]]) -> None:
    assert not list(check(sheet_of(name)))


@pytest.mark.parametrize("name", PRINTED)
def test_small_print_is_legible_and_the_exception(sheet_of: SheetOf, name: str) -> None:
    texts = [text for page in sheet_of(name).sheets for text in page.texts]
    assert min(text.size for text in texts) >= SMALLEST_PT
    small = sum(len(text.words) for text in texts if text.size < BODY_PT)
    assert small < 0.35 * sum(len(text.words) for text in texts)


def test_drawn_eyes_keep_to_eight_sides_and_lose_nothing(rulebook: Rulebook, ready: Assessor) -> None:
    draw, unit = random.Random(14), read_unit(DEMO / "unit.yaml", rulebook)
    for _ in range(draws(2, 60)):
        values = partly_recorded(ready.compiled, draw, draw.choice((0.75, 0.85, 0.95)), draw.choice((0, 0.1, 0.3)))
        case = as_case(ready.compiled, values, draw.choice(("left", "right")))
        plan = make_plan(assess(case, rulebook, unit, None), rulebook, unit)
        sheet = printed(render_pdf(plan, ("preparation",)))
        assert len(sheet.sheets) <= MOST_SIDES
        assert not lacking(plan, sheet)
