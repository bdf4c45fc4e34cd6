"""Pages as a real browser prints them with backgrounds off, read back: every sheet names its case or its list."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Callable, Iterator

import pytest
from documents.sheet import sheets
from playwright.sync_api import Page
from pypdf import PdfReader

from planner.records.rows import CaseNow
from planner.records.store import Store

# The soft grey of hints and the red of what is wrong are darker than this. The grey that a browser makes of white
# letters whose ground it leaves out is not.
DARK = 90

pytestmark = pytest.mark.with_lists


def on_paper(page: Page) -> tuple[bytes, list[str]]:
    """The PDF, and what each of its sheets says."""
    page.wait_for_load_state("load")
    pdf = page.pdf(format="A4", print_background=False)
    return pdf, [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(pdf)).pages]


def pale(pdf: bytes) -> Iterator[str]:
    """Letters that are not dark: all of them stand on white paper."""
    for number, sheet in enumerate(sheets(pdf), 1):
        assert sheet.texts
        for text in sheet.texts:
            red, green, blue = text.colour
            if 0.3 * red + 0.6 * green + 0.1 * blue > DARK:
                yield f"sheet {number}: {text.words!r} {text.colour}"


def squeezed(texts: list[str]) -> str:
    """The letters alone, those that are set as one apart."""
    return "".join(unicodedata.normalize("NFKC", "".join(texts)).split())


@pytest.fixture
def reference(store: Store) -> str:
    """A right eye of the pool, which a consultant approved."""
    found: CaseNow = next(now for now in store.cases() if now.case.eye == "right" and now.approval)
    return found.case.reference


@pytest.mark.parametrize("path", ["/cases/{}/right", "/cases/{}/right/plan", "/approvals/{}/right"])
def test_every_sheet_of_a_case_has_its_side_and_reference_in_black(
    opened: Callable[..., Page], reference: str, path: str
) -> None:
    page = opened("consultant-1")
    page.goto(path.format(reference))
    pdf, said = on_paper(page)
    assert all(each.startswith(f"RIGHT EYE {reference} As at ") for each in said), said
    assert not list(pale(pdf))
    pressed = [text for text in page.locator("button, header nav a").all_inner_texts() if text.strip()]
    assert len(pressed) > 3 and not [text for text in pressed if f" {text} " in " ".join(said[1:])]
    if path.endswith("/right") and "cases" in path:
        assert len(said) > 4, "a form goes on for sheets"
        # What is folded away on the screen is on the paper.
        page.locator("details.more").evaluate("one => { one.open = false; }")
        assert on_paper(page)[1] == said and "What decides the tier" in said[0]


def test_no_row_of_a_long_list_is_cut_and_its_heads_are_repeated(opened: Callable[..., Page]) -> None:
    page = opened("organiser-1")
    page.goto("/lists")
    pdf, said = on_paper(page)
    assert len(said) > 3 and all(each.startswith("Lists As at ") for each in said), said
    pool = page.locator("section[aria-labelledby=t-pool]")
    rows = [squeezed(row.locator("th, .cell").all_inner_texts()) for row in pool.locator("tbody tr").all()]
    heads, squeezed_sheets = (
        squeezed(pool.locator("thead th:not(:has(.away))").all_inner_texts()),
        [squeezed([each]) for each in said],
    )
    assert len(rows) > 40 and not [row for row in rows if not any(row in each for each in squeezed_sheets)]
    assert all(heads in each for each in squeezed_sheets if any(row in each for row in rows))
    assert not list(pale(pdf))
    assert not [text for text in ("Place ", "Propose places", "Sign out") if any(text in each for each in said)]
