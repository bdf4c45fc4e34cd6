"""The plan's page as a real browser prints it with backgrounds off: the side of the eye in black at every head."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from planner.documents.printing.html import render_html

from .conftest import PRINTED, PlanOf
from .sheet import sheets
from .test_print_ink import LEAST_CONTRAST, commonest_around, contrast, pictures

DARK = 90  # of 255; the greys of the page are darker


def pale(pdf: bytes) -> Iterator[str]:
    """Letters lighter than the greys of the page, with too little contrast to what lies around them on the paper."""
    for number, (sheet, picture) in enumerate(zip(sheets(pdf), pictures(pdf, 72), strict=True), 1):
        assert sheet.texts
        for text in (text for text in sheet.texts if max(text.colour) > DARK):
            if contrast(text.colour[0], ground := commonest_around(picture, text.box)) < LEAST_CONTRAST:
                yield f"sheet {number}: {text.words!r}: {text.colour} on {ground}"


@pytest.mark.parametrize("name", PRINTED)
def test_printed_without_backgrounds_nothing_is_pale_and_every_sheet_has_its_side(
    chromium: Browser, plan_of: PlanOf, name: str
) -> None:
    plan = plan_of(name)
    page = chromium.new_page()
    page.set_content(render_html(plan), wait_until="load")
    pdf = page.pdf(prefer_css_page_size=True, print_background=False)
    page.close()
    case = plan.assessment.case
    said = [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(pdf)).pages]
    side = f"{case.eye.upper()} EYE {case.reference} {plan.draft_line} "
    heads = [f"page {number} of {len(said)} {side}" for number in range(1, len(said) + 1)]
    assert not [each for each, head in zip(said, heads, strict=True) if not each.startswith(head)]
    assert said[2].startswith(f"{heads[2]}Preparation"), "the theatre sheet is one leaf here too"
    supervised = any(step.who == "supervisor" for step in plan.steps)
    assert ("SUPERVISOR" in said[1]) == supervised
    assert not list(pale(pdf))
