"""The debrief sheet: one side for a routine eye, two at most; each step with its pauses, in the record's order."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import cache
from itertools import pairwise

import page
import pypdfium2
import pytest

from planner.documents.debrief.sheet import complications, render_debrief
from planner.documents.plan.view import PlanView
from planner.records.rows import OperationOutcome

from .conftest import PRINTED, PlanOf, read, squeezed, with_case
from .test_pdf import SMALLEST_PT, sizes

MM_A_POINT = 25.4 / 72
DebriefOf = Callable[[str], bytes]
SOME = ["routine", "tense-white", "every-limit-left", "half-filled"]


@pytest.fixture(scope="session")
def debrief_of(plan_of: PlanOf) -> DebriefOf:
    return cache(lambda name: render_debrief(plan_of(name)))


@pytest.mark.parametrize("name", PRINTED)
def test_every_sheet_is_pdf_ua_with_all_steps_in_order_and_every_pause(
    plan_of: PlanOf, debrief_of: DebriefOf, name: str
) -> None:
    # page-validation checks the machine-checkable rules of ISO 14289-1 (PDF/UA-1).
    report = page.validate_pdf_bytes(debrief_of(name))
    assert report.is_compliant, [(failure.rule_id, failure.message) for failure in report.failures]
    plan, document = plan_of(name), read(debrief_of(name))
    routine = plan.assessment.tier.working == 1
    assert len(document.pages) == 1 if routine else len(document.pages) <= 2
    texts = [squeezed(sheet.extract_text()) for sheet in document.pages]
    case, book = plan.assessment.case, plan.assessment.rulebook
    for text in texts:
        for words in (f"{case.eye.upper()} EYE", case.reference, book.version, book.sha256[:8], plan.draft_line or ""):
            assert squeezed(words) in text, words
    whole, at = "".join(texts), 0
    for step in plan.steps:
        at = whole.index(squeezed(f"{step.number}{step.label}{step.who.capitalize()}"), at)
        at = whole.index("traineesupervisortakenoverasplannedotherwise", at)
        for pause in step.pause_if:
            what = pause.if_.removeprefix("Pause ")
            at = whole.index(squeezed(what), at)
    for drill in plan.drills:
        assert squeezed(drill.label) in texts[-1]


@pytest.mark.parametrize("name", SOME)
def test_it_asks_in_the_order_of_the_records_fields(plan_of: PlanOf, debrief_of: DebriefOf, name: str) -> None:
    text = squeezed(" ".join(sheet.extract_text() for sheet in read(debrief_of(name)).pages))
    asked = {
        "day": "Day",
        "operated_by": "Operator",
        "supervised_by": "Supervisor",
        "steps": "Who did it",
        "complications": "Complications, with the number of the step",
        "note": "Note: what was done otherwise",
    }
    fields = [field.name for field in dataclasses.fields(OperationOutcome) if field.name in asked]
    assert fields == list(asked)
    at = 0
    for field in fields:
        at = text.index(squeezed(asked[field]), at)
    for words in ("No patient's name", "Nothing ticked means not recorded", "None, confirmed by", "cancelled by unit"):
        assert squeezed(words) in text, words
    for words in ("One thing to keep", "One thing to change", "next case should practise", "A record for learning"):
        assert squeezed(words) in text, words
    # Where the answer is one of few it is ticked, in the rulebook's words.
    asks = plan_of(name).outcome
    assert {ask for ask, _ in asks} >= {"Vitreous lost", "Converted", "Lens placed"}
    for ask, answers in asks:
        assert squeezed(ask + "".join(answers)) in text, ask


def test_likely_trouble_is_listed_first(plan_of: PlanOf) -> None:
    plan = plan_of("tense-white")
    labels = list(complications(PlanView(plan)))
    likely = [drill.label for drill in plan.drills if drill.likely]
    assert labels[: len(likely)] == likely
    assert sorted(labels) == sorted(drill.label for drill in plan.drills)


@pytest.mark.parametrize("name", SOME)
def test_no_letter_is_smaller_than_the_type_scale(debrief_of: DebriefOf, name: str) -> None:
    measured = [pair for sheet in read(debrief_of(name)).pages for pair in sizes(sheet)]
    assert [pair for pair in measured if pair[0] < SMALLEST_PT - 0.05] == []


@pytest.mark.parametrize("name", SOME)
def test_rows_are_high_enough_to_write_in(plan_of: PlanOf, debrief_of: DebriefOf, name: str) -> None:
    document, steps = pypdfium2.PdfDocument(debrief_of(name)), len(plan_of(name).steps)
    heights: list[float] = []
    for sheet in document:
        # Dark rows of the picture across the right edge of the last column, which holds the table's rules alone.
        dots = 10
        picture = sheet.render(scale=dots * MM_A_POINT).to_pil().convert("L")
        column = picture.crop((round(199 * dots), 0, round(200 * dots), picture.height)).resize((1, picture.height))
        dark = [y for y in range(picture.height) if column.getpixel((0, y)) < 128]
        rules = [y for y, before in zip(dark, [-9, *dark], strict=False) if y - before > 1]
        heights += [(below - above) / dots for above, below in pairwise(rules)]
    assert len([height for height in heights if height >= 7.2]) >= steps


@pytest.mark.parametrize(("name", "left_of_page"), [("routine", True), ("tamsulosin", False)])
def test_the_side_stands_where_it_is_seen_facing_the_patient(
    debrief_of: DebriefOf, name: str, left_of_page: bool
) -> None:
    sheet = read(debrief_of(name)).pages[0]
    found: list[float] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip().endswith(" EYE") and size * abs(tm[3]) * abs(cm[3]) > 20:
            found.append((tm[4] * cm[0] + cm[4]) / float(sheet.mediabox.width))

    sheet.extract_text(visitor_text=visit)
    assert found and all((at < 0.3) == left_of_page for at in found)


def test_a_reference_of_sixty_characters_fits(plan_of: PlanOf) -> None:
    reference = "W" * 60
    document = read(render_debrief(with_case(plan_of("half-filled"), reference=reference)))
    assert 1 <= len(document.pages) <= 2
    assert all(reference in squeezed(sheet.extract_text()) for sheet in document.pages)


def test_same_plan_same_bytes(plan_of: PlanOf, debrief_of: DebriefOf) -> None:
    assert render_debrief(plan_of("tense-white")) == debrief_of("tense-white")
