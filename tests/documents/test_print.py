"""Every printed sheet, as pdfium draws it: nothing alone at a page's end, cut in two, cut off or over something."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

import pytest

from planner.documents.card.sheet import render_card
from planner.documents.debrief.sheet import render_debrief
from planner.documents.printing.pdf import render_pdf, write_pdf

from .conftest import PRINTED, PdfOf, PlanOf, with_case
from .layout_faults import crossed, orphan_headings, out_of_reach, outside, overlaps, split_rows
from .sheet import Printed, printed

CHECKS = [orphan_headings, split_rows, outside, overlaps, crossed]
Check = Callable[[Printed], Iterator[str]]
PrintedOf = Callable[[str], Printed]


@pytest.fixture(scope="module")
def printed_of(pdf_of: PdfOf) -> PrintedOf:
    return cache(lambda name: printed(pdf_of(name)))


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("name", PRINTED)
def test_no_plan_has_a_fault_of_layout(printed_of: PrintedOf, name: str, check: Check) -> None:
    assert not list(check(printed_of(name)))


# The card's margins are narrower than the plan's, and its side rules are whole frames clipped to one side, whose other
# three edges `crossed` takes for lines.
OTHER_SHEETS = {
    "card": (render_card, [orphan_headings, split_rows, overlaps, out_of_reach]),
    "debrief": (render_debrief, CHECKS),
}


@pytest.mark.parametrize("sheet", OTHER_SHEETS)
@pytest.mark.parametrize("name", ["routine", "half-filled"])
def test_no_card_and_no_debrief_sheet_has_a_fault_of_layout(plan_of: PlanOf, name: str, sheet: str) -> None:
    render, checks = OTHER_SHEETS[sheet]
    made = printed(render(plan_of(name)))
    assert not [fault for check in checks for fault in check(made)]


@pytest.mark.parametrize("name", ["routine", "half-filled"])
def test_nothing_lies_where_a_printer_does_not_reach(printed_of: PrintedOf, name: str) -> None:
    assert not list(out_of_reach(printed_of(name)))


# One that can be broken nowhere, and one with places to break.
@pytest.mark.long
@pytest.mark.parametrize("reference", ["W" * 60, "/".join(["LIST-2026"] * 6) + "/"])
@pytest.mark.parametrize("name", ["routine", "every-limit-left"])
def test_a_reference_of_sixty_characters_breaks_nothing(plan_of: PlanOf, name: str, reference: str) -> None:
    assert len(reference) == 60
    sheet = printed(render_pdf(with_case(plan_of(name), reference=reference)))
    assert not [fault for check in CHECKS for fault in check(sheet)]


STYLE = """@page { size: A4; margin: 11mm 9mm } body { margin: 0; font-size: 11pt; line-height: 1.25 }
td, th { border: 1pt solid; padding: 1mm } table { border-collapse: collapse }"""
LINES = "<p>line</p>" * 9
GOOD = f"<h2>Head</h2>{LINES}<table><tr><th scope=row>1</th><td>one</td></tr></table>"
FAULTS = {
    "heading at the page's end": ('<h2>Alone</h2><p style="break-before: page">below</p>', orphan_headings),
    "heading at a column's end": (
        '<div style="columns: 2; height: 40mm; column-fill: auto"><div style="height: 30mm">.</div>'
        '<h2 style="font-size: 11pt; margin: 0; break-after: auto">Alone</h2><div style="break-before: column">'
        "below</div></div>",
        orphan_headings,
    ),
    "name of a row parted from what it names": (
        '<table><tr><th scope="row" rowspan="2">1</th><td colspan="2"><h3>Alone</h3></td></tr>'
        '<tr style="break-before: page"><td>what it is</td><td>more</td></tr></table>',
        orphan_headings,
    ),
    "heading of nothing": ("<p>text</p><h2>Alone</h2>", orphan_headings),
    "row over two pages": (
        f'<div style="height: 250mm">.</div><table><tr><th scope=row>1</th><td>{LINES}</td></tr></table>',
        split_rows,
    ),
    "line wider than the page": (f'<p style="white-space: nowrap">{"wide " * 60}</p>', outside),
    "text at the paper's edge": ('<p style="position: absolute; left: -8mm">edge</p>', out_of_reach),
    "box at the paper's edge": ('<div style="position: absolute; left: -8mm; background: #000">.</div>', out_of_reach),
    "text pulled up over text": ('<p>under</p><p style="margin-top: -8mm">over</p>', overlaps),
    "word wider than its column": (
        '<table style="table-layout: fixed; width: 40mm"><tr><td>Haemorrhages-and-more</td><td></td></tr></table>',
        crossed,
    ),
    "rule through a line": ('<div style="border-bottom: 1pt solid; height: 2.5mm">struck</div>', crossed),
}


def faulty(body: str) -> Printed:
    title = '<html lang="en"><head><title>t</title>'
    return printed(write_pdf(f"{title}<style>{STYLE}</style></head><body><h1>Top</h1><p>first</p>{body}</body></html>"))


def test_a_page_without_faults_has_none() -> None:
    assert not [fault for check in CHECKS for fault in check(faulty(GOOD))]


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_found(name: str) -> None:
    body, check = FAULTS[name]
    assert list(check(faulty(body)))
