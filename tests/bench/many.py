"""Printing many: 200 plans in one call, beside plain WeasyPrint that writes the same pages one after another."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from pypdf import PdfReader

from bench.assessment import DEMO, read
from bench.measure import Line, against, process, rounds_of, say
from planner.assess.assess import assessor
from planner.case_file import case_file, yaml_of
from planner.documents.printing.html import render_html
from planner.documents.printing.queue import cores
from planner.plan.make import make_plan
from planner.rulebook.load import shipped
from planner.unit import read_unit

PLANS = 200
SERIAL = "WeasyPrint, the same pages, one process"
# Every page is read, set and written as one plan after another; the import is paid once.
BARE = """
import sys
from pathlib import Path
from weasyprint import HTML
for page in sorted(Path(sys.argv[1]).glob("*.html")):
    HTML(page).write_pdf(page.with_suffix(".pdf"))
"""


def run(quick: bool) -> Iterator[Line]:
    ready, unit = assessor(shipped()), DEMO / "unit.yaml"
    held = read_unit(unit, ready.rulebook)
    cases = [read(path, ready) for path in sorted((DEMO / "cases").glob("*.yaml"))]
    plans = 4 if quick else PLANS
    with tempfile.TemporaryDirectory() as name:
        given, pages, made = (Path(name) / part for part in ("cases", "pages", "made"))
        given.mkdir()
        pages.mkdir()
        for number in range(plans):
            case = replace(cases[number % len(cases)], reference=f"B-{number:03}")
            (given / f"{number:03}.yaml").write_text(yaml_of(case_file(case)), "utf-8")
            plan = make_plan(ready.assess(case, held, None), ready.rulebook, held, None)
            (pages / f"{number:03}.html").write_text(render_html(plan), "utf-8")
        planner = str(Path(sys.executable).with_name("planner"))
        sources = [str(path) for path in sorted(given.iterdir())]
        say(f"many PDFs: {plans} plans")
        contestants = {
            "ours": process([planner, "plan", *sources, "--unit", str(unit), "-o", f"{made}/"]),
            SERIAL: process([sys.executable, "-c", BARE, str(pages)]),
        }
        taken = rounds_of(contestants, 1)
        sheets = sum(len(PdfReader(path).pages) for path in made.glob("*.pdf"))
    what = f"{plans} plans, {sheets} pages, {cores()} cores: a page"
    yield from against("many PDFs", what, taken, {SERIAL: "> 1"}, share=sheets, inverse=True)
