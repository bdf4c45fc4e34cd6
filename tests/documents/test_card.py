"""The theatre card: one page for every case, in letters as high as it says, nothing lost that it does not count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import atan, degrees

import page
import pypdfium2
import pytest
from PIL import Image, ImageFilter
from pypdf import PageObject
from weasyprint import HTML as WeasyprintPage

from planner.documents.card.sheet import (
    FOOT_PT,
    PAGE,
    READ_AT_M,
    SPARED,
    STEPS_MM,
    _page,
    fullest,
    height_mm,
    render_card,
)
from planner.documents.card.view import card_view, sayable
from planner.documents.plan.view import PlanView
from planner.documents.printing import pdf
from planner.documents.printing.font_metrics import (
    capital_mm,
    count_lines,
    points_for_capital,
    small_letter_mm,
    smallest_letter_mm,
)

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
        at = text.index(squeezed(f"{step.number}{step.label}"), at)
        # Whoever was named last does the step.
        named = {who: text.rfind(who, 0, at) for who in ("TRAINEE", "SUPERVISOR")}
        assert max(named, key=lambda who: named[who]) == step.who.upper(), step.id
    assessment = plan.assessment
    shown = PlanView(plan)
    # Where too little is recorded for a technique there is no pause to print, and the card says why.
    hardest = max(shown.steps, key=lambda step: (bool(step.pause), len(step.step.harder_because)))
    first_pause = hardest.pause[0][0] if hardest.pause else shown.not_written
    assert first_pause and bool(shown.not_written) == (assessment.tier.on_record is None)
    for words in (
        *(assessment.case.reference, assessment.case.eye.upper() + " EYE", f"Tier {assessment.tier.working}"),
        *(PlanView(plan).mode, plan.supervision.words, plan.draft_line or "", plan.deferral[0]),
        *(assessment.rulebook.version, assessment.rulebook.sha256[:8], PlanView(plan).date, first_pause),
        *(plan.drills[0].label, plan.drills[0].stop_first),
    ):
        assert squeezed(words) in text, words
    assert ("SETTLEFIRST" in text) == (assessment.readiness.state == "settle-first")
    assert ("Morepausesareontheplan" in text) == any(
        squeezed(pause.if_) not in text for step in plan.steps for pause in step.pause_if if plan.has_technique
    )


@pytest.mark.parametrize("name", PRINTED)
def test_steps_and_pauses_stand_in_capitals_of_four_and_a_half_millimetres(
    plan_of: PlanOf, card_of: CardOf, name: str
) -> None:
    # Capitals of this typeface are 698 thousandths of the type size high, by the OS/2 table of its files.
    heights = [(size * MM_A_POINT * 0.698, text) for size, text in sizes(only_page(card_of(name)))]
    assert min(heights)[0] >= 2.9 and max(heights)[0] >= SIDE_MM
    steps = plan_of(name).steps
    told = ("Pause ", "TRAINEE", "SUPERVISOR", "Technique not written", *(step.label.split()[0] for step in steps))
    lines = [height for height, text in heights if text.startswith(told)]
    assert len(lines) > len(steps) and min(lines) >= 4.49


@pytest.mark.parametrize("name", ["white-cortex-not-recorded", "cannot-lie-flat", "routine"])
@pytest.mark.parametrize("copier", ["good", "poor"])
def test_whose_step_it_is_shows_by_shape_on_a_poor_copier_too(
    plan_of: PlanOf, card_of: CardOf, name: str, copier: str
) -> None:
    """Down the bar at the left of each column: solid where the supervisor does the step, else two thin lines."""
    dots = 10
    sheet = pypdfium2.PdfDocument(card_of(name))[0].render(scale=dots * MM_A_POINT).to_pil().convert("L")
    if copier == "poor":  # Blurred by half a millimetre, black faded to grey.
        sheet = sheet.filter(ImageFilter.GaussianBlur(0.25 * dots)).point(lambda grey: 90 + grey * 165 // 255)
    page_of = read(card_of(name)).pages[0]
    found: list[tuple[str, float, float]] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip() in ("TRAINEE", "SUPERVISOR"):
            across, down = tm[4] * cm[0] + cm[4], tm[5] * cm[3] + cm[5]
            found.append((text.strip(), across * MM_A_POINT, 210 - down * MM_A_POINT))

    page_of.extract_text(visitor_text=visit)
    assert {who for who, *_ in found} == {step.who.upper() for step in plan_of(name).steps}
    for who, across, down in found:
        left = 7.0 if across < 148.5 else 7.0 + 141.5 + 3.5
        y = round((down - 1) * dots)
        bar = [sheet.getpixel((round((left + at / 10) * dots), y)) for at in range(4, 29)]
        middle = min(bar[10:14])
        assert (middle < 170) == (who == "SUPERVISOR"), (who, across, down, bar)


def test_an_eye_of_six_six_reads_what_is_printed() -> None:
    # The definition of visual acuity: a 6/6 letter subtends 5 minutes of arc; at two metres that is 2.9 mm.
    least = smallest_letter_mm(READ_AT_M)
    assert least == pytest.approx(2.909, abs=0.001)
    assert 60 * degrees(atan(least / 1000 / READ_AT_M)) == pytest.approx(5)
    assert capital_mm(FOOT_PT) >= least
    # In the steps even the small letters do.
    assert small_letter_mm(points_for_capital(STEPS_MM[-1])) >= least


def test_lines_are_counted_with_the_widths_of_the_font() -> None:
    # "n" is 0.528 of the type size wide in the regular text face and the space 0.216, by its hmtx table.
    n = "n" * 10
    ten = count_lines([(f"{n} {n}", False)], 10, 1000)
    assert ten == 1
    wide = next(width / 10 for width in range(1, 2000) if count_lines([(f"{n} {n}", False)], 10, width / 10) == 1)
    assert count_lines([(n, False), (n, False)], 10, wide) == 1
    assert count_lines([(f"{n} {n}", False)], 20, wide) == 2
    assert count_lines([(f"{n} {n}", True)], 10, wide) == 2


@pytest.mark.parametrize("name", PRINTED)
def test_a_card_is_set_once_and_stands_as_high_as_reckoned(
    plan_of: PlanOf, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings: list[str] = []
    monkeypatch.setattr(pdf, "HTML", lambda **given: settings.append(given["string"]) or WeasyprintPage(**given))
    render_card(plan_of(name))
    assert len(settings) == 1


def test_a_card_that_does_not_hold_is_set_once_more_and_barer(plan_of: PlanOf) -> None:
    plan = plan_of("every-limit-left")
    shown = PlanView(plan)
    full, less = fullest(plan, shown, PAGE)[0], fullest(plan, shown, PAGE - SPARED)[0]
    said = [sum(len(step.pauses) + bool(step.way) for step in card.steps) for card in (full, less)]
    assert said[1] < said[0]
    everything = card_view(plan, shown, frozenset(sayable(plan, shown)))
    assert height_mm(shown, everything, STEPS_MM[-1]) > PAGE
    pages = [_page(shown, everything, STEPS_MM[-1]), _page(shown, *fullest(plan, shown, PAGE))]
    assert [pdf.count_pages(each) > 1 for each in pages] == [True, False]
    assert len(read(pdf.write_one_page(pages)).pages) == 1


def test_what_matters_most_is_said_first(plan_of: PlanOf) -> None:
    plan = plan_of("tense-white")
    shown = PlanView(plan)
    first, *_ = sayable(plan, shown)
    assert first == ("pause", "capsule-opening")
    card = card_view(plan, shown, frozenset([first]))
    assert [(step.s.step.id, len(step.pauses)) for step in card.steps if step.pauses] == [("capsule-opening", 1)]
    assert card.cut_short and not any(step.way for step in card.steps)


@pytest.mark.parametrize(("name", "left_of_page"), [("routine", True), ("tamsulosin", False)])
def test_the_side_stands_where_it_is_seen_facing_the_patient(card_of: CardOf, name: str, left_of_page: bool) -> None:
    sheet = only_page(card_of(name))
    found: list[float] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip().endswith(" EYE"):
            found.append((tm[4] * cm[0] + cm[4]) / float(sheet.mediabox.width))

    sheet.extract_text(visitor_text=visit)
    assert found and all((at < 0.3) == left_of_page for at in found)


@pytest.mark.parametrize("name", ["routine", "tamsulosin"])
def test_the_side_is_not_cut_off(card_of: CardOf, name: str) -> None:
    dots = 5
    sheet = pypdfium2.PdfDocument(card_of(name))[0].render(scale=dots * MM_A_POINT).to_pil().convert("L")
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
        ((always, likely), "Be ready for", likely),
        ((other, always), "In every eye be ready for", always),
        (none, "The drills are on the plan.", None),
    ):
        card = card_view(plan, PlanView(replace(plan, drills=drills)), frozenset())
        assert card.ready_for == words
        assert (card.drill, card.stop_first) == ((first.label, first.stop_first) if first else ("", ""))
    # An ordinary eye makes nothing likely: its card has the drill of every eye, capsule rupture.
    assert not any(drill.likely for drill in plan.drills)
    text = squeezed(only_page(render_card(plan)).extract_text())
    assert always.id == "posterior-capsule-rupture" and squeezed(always.stop_first) in text


def test_no_way_of_doing_a_step_is_on_the_card_where_none_is_written(plan_of: PlanOf) -> None:
    plan = plan_of("half-filled")
    assert plan.assessment.tier.on_record is None and plan.choices
    card = card_view(plan, PlanView(plan), frozenset())
    assert card.not_written and not any(step.way for step in card.steps)


def test_a_rulebook_in_force_prints_no_draft_line(plan_of: PlanOf) -> None:
    plan = replace(plan_of("routine"), draft_line=None)
    assert "Draftrulebook" not in squeezed(only_page(render_card(plan)).extract_text())
