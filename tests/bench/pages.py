"""Printing one plan: beside WeasyPrint alone on the very same page, and on plain tables of the same length."""

from __future__ import annotations

import sys
import tempfile
from bisect import bisect_left
from collections.abc import Callable, Iterator
from functools import partial
from html import escape
from pathlib import Path

from weasyprint import HTML

from bench.assessment import DEMO, read
from bench.measure import Line, against, process, rounds_of, say
from planner.assess.assess import assessor
from planner.documents.plan.text import render_text
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.html import render_html
from planner.documents.printing.pdf import font_faces, render_pdf
from planner.documents.theatre.sheet import theatre_sheet
from planner.plan.make import make_plan
from planner.rulebook.load import shipped
from planner.unit import read_unit

# An ordinary plan, and one of the longest.
CASES = ("routine", "white-pseudoexfoliation-small-pupil")
PAGE, TABLES = "WeasyPrint, the same page", "WeasyPrint, plain tables"
BARE = "import sys; from weasyprint import HTML; HTML(sys.argv[1]).write_pdf(sys.argv[2])"


def run(quick: bool) -> Iterator[Line]:
    ready = assessor(shipped())
    unit = DEMO / "unit.yaml"
    for name in CASES[:1] if quick else CASES:
        path = DEMO / "cases" / f"{name}.yaml"
        held = read_unit(unit, ready.rulebook)
        plan = make_plan(ready.assess(read(path, ready), held, None), ready.rulebook, held, None)
        page, leaf = render_html(plan), html.page(PlanView(plan), theatre_sheet(PlanView(plan)), font_faces(), False)
        pages = len(HTML(string=page).render().pages)
        tables = plain_tables(render_text(plan, 100).split(), pages)
        what, rounds = f"{name}, {pages} pages", 1 if quick else 5
        say(f"one PDF: {what}")
        taken = rounds_of(
            {
                "ours": partial(render_pdf, plan),
                PAGE: HTML(string=page).write_pdf,
                TABLES: HTML(string=tables).write_pdf,
            },
            rounds,
        )
        yield from against("one PDF, warm", what, taken, {PAGE: "<= 1.2", TABLES: "<= 1.2"})
        say(f"theatre sheet: {name}")
        taken = rounds_of({"ours": partial(render_pdf, plan, ("theatre",)), PAGE: HTML(string=leaf).write_pdf}, rounds)
        yield from against("theatre sheet, warm", f"{name}, 2 pages", taken, {PAGE: "<= 1.5"})
        with tempfile.TemporaryDirectory() as folder:
            given = [str(path), "--unit", str(unit), "--sheet", "theatre"]
            made = processes(Path(folder), given, leaf, leaf)
            taken = rounds_of({who: made[who] for who in ("ours", PAGE)}, rounds)
        yield from against("theatre sheet, cold", f"{name}, 2 pages", taken, {PAGE: "<= 1.3"})
        with tempfile.TemporaryDirectory() as folder:
            taken = rounds_of(processes(Path(folder), [str(path), "--unit", str(unit)], page, tables), rounds)
        yield from against("one PDF, cold", what, taken, {PAGE: "<= 1.5", TABLES: "<= 1.5"})


def processes(folder: Path, arguments: list[str], page: str, tables: str) -> dict[str, Callable[[], object]]:
    """`planner plan`, and WeasyPrint alone on each page, every time in a new process."""
    (folder / "page.html").write_text(page, "utf-8")
    (folder / "tables.html").write_text(tables, "utf-8")
    planner = str(Path(sys.executable).with_name("planner"))
    bare = [sys.executable, "-c", BARE]
    return {
        "ours": process([planner, "plan", *arguments, "-o", str(folder / "plan.pdf")]),
        PAGE: process([*bare, str(folder / "page.html"), str(folder / "bare.pdf")]),
        TABLES: process([*bare, str(folder / "tables.html"), str(folder / "bare.pdf")]),
    }


def plain_tables(words: list[str], pages: int) -> str:
    """The words of a plan in tables of four columns and no other style, in the largest letters that fit the pages."""
    cells = [escape(" ".join(words[start : start + 6])) for start in range(0, len(words), 6)]
    rows = ["".join(f"<td>{cell}" for cell in cells[start : start + 4]) for start in range(0, len(cells), 4)]
    body = "".join(
        f"<table>{''.join(f'<tr>{row}' for row in rows[start : start + 12])}</table>"
        for start in range(0, len(rows), 12)
    )

    def page(half_points: int) -> str:
        return f"<!doctype html><title>Tables</title><style>html {{ font-size: {half_points / 2}pt }}</style>{body}"

    def too_long(half_points: int) -> bool:
        return len(HTML(string=page(half_points)).render().pages) > pages

    sizes = range(8, 25)
    fitting = bisect_left(sizes, True, key=too_long)
    assert fitting, "so many words do not fit so few pages"
    return page(sizes[fitting - 1])
