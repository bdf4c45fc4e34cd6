"""What a page shown in a browser is judged by: its width, and axe-core.

axe-core (Deque, MPL-2.0, in `web/vendor/`) tests against WCAG 2.2 A and AA; it is the outside judge of these pages.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Page

AXE = (Path(__file__).parent / "web" / "vendor" / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PHONE = (360, 740)
DESK = (1280, 900)


def faults(page: Page, name: str) -> Iterator[str]:
    """All that is wrong with the page as it now stands, each with `name` before it."""
    # A button's click comes back while the page it sends for is still being read.
    page.wait_for_load_state("load")
    width = page.evaluate("document.documentElement.scrollWidth")
    if width > page.viewport_size["width"]:
        yield f"{name}: {width} pixels wide"
    # Through the debugger, which the page's own policy does not bind.
    page.evaluate(AXE)
    for fault in page.evaluate(
        "runOnly => axe.run({runOnly, resultTypes: ['violations']}).then(found => found.violations)", RULES
    ):
        yield f"{name}: {fault['impact']} {fault['id']}: {fault['nodes'][0]['html'][:200]}"
