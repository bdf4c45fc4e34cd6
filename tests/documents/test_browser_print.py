"""The plan's page as a real browser prints it with backgrounds off: the side of the eye in black at every head."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from planner.documents.printing.html import render_html

from .conftest import PRINTED, PlanOf
from .sheet import Sheet, sheets

# The greys of the page are darker than this; what a browser makes of white letters without their ground is not.
DARK = 90


def pale(sheet: Sheet) -> Iterator[str]:
    """Letters that are not dark and stand on nothing dark that was drawn."""
    for text in sheet.texts:
        x, y = (text.box.left + text.box.right) / 2, (text.box.bottom + text.box.top) / 2
        under = [shape for shape in sheet.shapes if max(shape.colours[0]) < DARK]
        on_dark = any(s.box.left < x < s.box.right and s.box.bottom < y < s.box.top for s in under)
        if max(text.colour) > DARK and not on_dark:
            yield f"{text.words!r} {text.colour}"


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
    side = f"{case.eye.upper()} EYE {case.reference} "
    heads = [f"page {number} of {len(said)} {side}" for number in range(1, len(said) + 1)]
    assert not [each for each, head in zip(said, heads, strict=True) if not each.startswith(head)]
    assert said[2].startswith(f"{heads[2]}Preparation"), "the theatre sheet is one leaf here too"
    supervised = any(step.who == "supervisor" for step in plan.steps)
    assert ("SUPERVISOR" in said[1]) == supervised
    for sheet in sheets(pdf):
        assert sheet.texts and not list(pale(sheet))
