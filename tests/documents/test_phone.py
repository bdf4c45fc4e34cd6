"""The plan's page on a phone, as a real browser lays it out: the scale of the risk."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser

from planner.documents.printing.html import render_html

from .conftest import PRINTED, PlanOf

# Every line of text on the scale and every bar: what it is, and left, top, right and bottom in pixels.
BOXES = """() => {
  const boxes = [...document.querySelectorAll(".scale svg")].map(bar => ["bar", bar.getBoundingClientRect()]);
  const texts = document.createTreeWalker(document.querySelector(".scale"), NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const text = texts.currentNode, range = document.createRange();
    if (!text.data.trim() || text.parentNode.closest("svg")) continue;
    range.selectNodeContents(text);
    for (const line of range.getClientRects()) boxes.push([text.data.trim(), line]);
  }
  return boxes.map(([what, box]) => [what, [box.left, box.top, box.right, box.bottom]]);
}"""
# Lines are as high as their type asks, which is more than their letters are.
CLOSE = 1.5


@pytest.mark.parametrize("width", [320, 375])
@pytest.mark.parametrize("name", PRINTED)
def test_no_label_of_the_risk_meets_another_or_runs_out(
    chromium: Browser, plan_of: PlanOf, name: str, width: int
) -> None:
    page = chromium.new_page(viewport={"width": width, "height": 740})
    page.set_content(render_html(plan_of(name)), wait_until="load")
    boxes = page.evaluate(BOXES)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()
    assert len([what for what, _ in boxes if what == "bar"]) >= 5 and len(boxes) > 18
    assert not [what for what, (left, _, right, _) in boxes if left < 0 or right > width]
    met = [
        (what, other)
        for place, (what, (left, top, right, bottom)) in enumerate(boxes)
        for other, (its_left, its_top, its_right, its_bottom) in boxes[:place]
        if min(right, its_right) - max(left, its_left) > 0 and min(bottom, its_bottom) - max(top, its_top) > CLOSE
    ]
    assert not met
