"""The theatre card: one page for every case, in letters as high as it says, nothing lost that it does not count."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import atan, degrees

import page
import pypdfium2
import pytest
from PIL import Image
from pypdf import PageObject

from planner.documents.card.sheet import CROWDED_MM, FOOT_PT, READ_AT_M, STEPS_MM, card_that_fits, render_card
from planner.documents.card.view import CROWDED, DETAILS, Card, CardDetail, card_view
from planner.documents.plan.view import PlanView
from planner.documents.printing.font_metrics import (
    capital_mm,
    count_lines,
    points_for_capital,
    small_letter_mm,
    smallest_letter_mm,
)
from planner.wording.language import languages, speaking

from .conftest import PRINTED, PlanOf, read, squeezed, with_case
from .test_pdf import sizes

MM_A_POINT = 25.4 / 72
SIDE_MM = 12
DARK = 90
CardOf = Callable[[str], bytes]


@pytest.fixture(scope="session")
def card_of(plan_of: PlanOf) -> CardOf:
    return cache(lambda name: render_card(plan_of(name)))


def only_page(pdf: bytes) -> PageObject:
    (sheet,) = read(pdf).pages
    return sheet


@pytest.mark.parametrize("name", PRINTED)
def test_every_card_is_one_pdf_ua_page_with_all_steps_in_order(plan_of: PlanOf, card_of: CardOf, name: str) -> None:
    # page-validation checks the machine-checkable rules of ISO 14289-1 (PDF/UA-1).
    report = page.validate_pdf_bytes(card_of(name))
    assert report.is_compliant, [(failure.rule_id, failure.message) for failure in report.failures]
    plan, text = plan_of(name), squeezed(only_page(card_of(name)).extract_text())
    at = 0
    for step in plan.steps:
        who = "TRAINEE" if step.who == "trainee" else "SUPERVISOR"
        at = text.index(squeezed(f"{step.number}{step.label}{who}"), at)
    assessment = plan.assessment
    shown = PlanView(plan)
    # Where too little is recorded for a technique there is no pause to print, and the card says why.
    first_pause = next((what for step in shown.steps for what, _ in step.pause), shown.not_written)
    assert first_pause and bool(shown.not_written) == (assessment.tier.on_record is None)
    for words in (
        *(assessment.case.reference, assessment.case.eye.upper() + " EYE", f"Tier {assessment.tier.working}"),
        *(PlanView(plan).mode, plan.supervision.words, plan.draft_line or "", plan.deferral[0]),
        *(assessment.rulebook.version, assessment.rulebook.sha256[:8], PlanView(plan).date, first_pause),
    ):
        assert squeezed(words) in text, words
    assert ("SETTLEFIRST" in text) == (assessment.readiness.state == "settle-first")


@pytest.mark.parametrize("name", PRINTED)
def test_letters_are_as_high_as_the_card_says(plan_of: PlanOf, card_of: CardOf, name: str) -> None:
    sheet = only_page(card_of(name))
    said = re.search(r"Smallest capital ([\d.]+) mm; steps ([\d.]+) mm", " ".join(sheet.extract_text().split()))
    assert said is not None
    smallest, steps = float(said[1]), float(said[2])
    # Capitals of this typeface are 698 thousandths of the type size high, by the OS/2 table of its files.
    heights = [(size * MM_A_POINT * 0.698, text) for size, text in sizes(sheet)]
    assert min(heights)[0] == pytest.approx(smallest, abs=0.06)
    assert max(heights)[0] >= SIDE_MM
    assert steps >= CROWDED_MM[-1]
    told = "Pause " if any(step.pause_if for step in plan_of(name).steps) else "Technique not written"
    lines = [height for height, text in heights if text.startswith(told)]
    assert lines and min(lines) == pytest.approx(steps, abs=0.06)


def test_an_eye_of_six_six_reads_what_is_printed() -> None:
    # The definition of visual acuity: a 6/6 letter subtends 5 minutes of arc; at two metres that is 2.9 mm.
    least = smallest_letter_mm(READ_AT_M)
    assert least == pytest.approx(2.909, abs=0.001)
    assert 60 * degrees(atan(least / 1000 / READ_AT_M)) == pytest.approx(5)
    assert capital_mm(FOOT_PT) >= least
    # In the steps even the small letters do.
    assert small_letter_mm(points_for_capital(CROWDED_MM[-1])) >= least


def test_lines_are_counted_with_the_widths_of_the_font() -> None:
    # "n" is 0.528 of the type size wide in the regular text face and the space 0.216, by its hmtx table.
    n = "n" * 10
    ten = count_lines([(f"{n} {n}", False)], 10, 1000)
    assert ten == 1
    wide = next(width / 10 for width in range(1, 2000) if count_lines([(f"{n} {n}", False)], 10, width / 10) == 1)
    assert count_lines([(n, False), (n, False)], 10, wide) == 1
    assert count_lines([(f"{n} {n}", False)], 20, wide) == 2
    assert count_lines([(f"{n} {n}", True)], 10, wide) == 2


@pytest.mark.parametrize("name", ["routine", "tense-white", "half-filled", "every-limit-left"])
@pytest.mark.parametrize("detail", [*DETAILS, *CROWDED], ids=lambda detail: str(detail.pauses))
def test_every_pause_is_printed_or_counted(plan_of: PlanOf, name: str, detail: CardDetail) -> None:
    plan = plan_of(name)
    card = card_view(plan, PlanView(plan), detail)
    for planned, shown in zip(plan.steps, card.steps, strict=True):
        assert len(planned.pause_if) == len(shown.pauses) + int(shown.rest or 0)
        assert [pause.if_ for pause in planned.pause_if[: len(shown.pauses)]] == [w for w, _ in shown.pauses]
        assert bool(shown.rest) <= card.cut_short


def test_the_fullest_card_that_fits_is_taken_in_the_largest_letters(plan_of: PlanOf) -> None:
    plan = plan_of("tense-white")
    usual, crowded = ([card_view(plan, PlanView(plan), detail) for detail in details] for details in (DETAILS, CROWDED))
    tries = ((usual, STEPS_MM), (crowded, CROWDED_MM))
    lines: Callable[[Card], float] = lambda card: sum(step.lines(12) for step in card.steps)  # noqa: E731
    assert card_that_fits(tries, lambda card, size: True) == (usual[0], STEPS_MM[0])
    assert card_that_fits(tries, lambda card, size: size <= 5.0) == (usual[0], 5.0)
    assert card_that_fits(tries, lambda card, size: lines(card) <= lines(usual[2]))[0] == usual[2]
    assert card_that_fits(tries, lambda card, size: size < 4.5) == (crowded[0], 4.25)
    assert card_that_fits(tries, lambda card, size: False) == (crowded[-1], CROWDED_MM[-1])


@pytest.mark.parametrize(("name", "left_of_page"), [("routine", True), ("tamsulosin", False)])
def test_the_side_stands_where_it_is_seen_facing_the_patient(card_of: CardOf, name: str, left_of_page: bool) -> None:
    sheet = only_page(card_of(name))
    found: list[float] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip().endswith(" EYE"):
            found.append((tm[4] * cm[0] + cm[4]) / float(sheet.mediabox.width))

    sheet.extract_text(visitor_text=visit)
    assert found and all((at < 0.3) == left_of_page for at in found)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", ["routine", "tamsulosin"])
def test_the_side_is_not_cut_off_in_any_language(plan_of: PlanOf, language: str, name: str) -> None:
    dots = 5
    with speaking(language):
        pdf = render_card(plan_of(name))
    sheet = pypdfium2.PdfDocument(pdf)[0].render(scale=dots * MM_A_POINT).to_pil().convert("L")
    # The black block: the longest dark run of the uppermost row that has one of 80 mm. Within a millimetre of its ends
    # no white letter may stand.
    top, block = next((y, run) for y in range(sheet.height) if len(run := longest_dark_run(sheet, y)) > 80 * dots)
    for end in (block[1:dots], block[-dots:-1]):
        assert all(sheet.getpixel((x, y)) < DARK for x in end for y in range(top + 2, top + 18 * dots))


def longest_dark_run(sheet: Image.Image, y: int) -> range:
    best, start = range(0), None
    for x in range(sheet.width + 1):
        dark = x < sheet.width and sheet.getpixel((x, y)) < DARK
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            best, start = max(best, range(start, x), key=len), None
    return best


def test_a_reference_of_sixty_characters_fits(plan_of: PlanOf) -> None:
    reference = "W" * 60
    sheet = only_page(render_card(with_case(plan_of("half-filled"), reference=reference)))
    assert reference in squeezed(sheet.extract_text())


def test_same_plan_same_bytes(plan_of: PlanOf, card_of: CardOf) -> None:
    assert render_card(plan_of("tense-white")) == card_of("tense-white")


def test_the_first_drill_says_how_it_stands(plan_of: PlanOf) -> None:
    plan = plan_of("routine")
    always = next(drill for drill in plan.drills if drill.in_full)
    other = next(drill for drill in plan.drills if not drill.in_full)
    likely = replace(other, likely=True, in_full=True)
    none = tuple(replace(drill, likely=False, in_full=False) for drill in plan.drills)
    for drills, words, first in (
        ((always, likely), "Drill likely in this eye:", likely),
        ((other, always), "Drill in every eye:", always),
        (none, "No drill stands out", None),
    ):
        card = card_view(plan, PlanView(replace(plan, drills=drills)), DETAILS[0])
        assert card.standing.startswith(words)
        assert (card.drill, card.stop_first) == ((first.label, first.stop_first) if first else ("", ""))
    # An ordinary eye makes nothing likely: its card has the drill of every eye, capsule rupture.
    assert not any(drill.likely for drill in plan.drills)
    text = squeezed(only_page(render_card(plan)).extract_text())
    assert always.id == "posterior-capsule-rupture" and squeezed(always.stop_first) in text


def test_no_way_of_doing_a_step_is_on_the_card_where_none_is_written(plan_of: PlanOf) -> None:
    plan = plan_of("half-filled")
    assert plan.assessment.tier.on_record is None and plan.choices
    card = card_view(plan, PlanView(plan), DETAILS[0])
    assert card.not_written and not any(step.way for step in card.steps)


def test_a_rulebook_in_force_prints_no_draft_line(plan_of: PlanOf) -> None:
    plan = replace(plan_of("routine"), draft_line=None)
    assert "Draftrulebook" not in squeezed(only_page(render_card(plan)).extract_text())
