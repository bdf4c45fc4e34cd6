"""PDF/UA a second time, by a checker that shares nothing with page-validation, which test_pdf.py runs."""

from __future__ import annotations

from pathlib import Path

import outloud
import pytest

from planner.documents.printing.pdf import write_pdf

from .conftest import PdfOf

# What it takes for an error and is none: a ruled grid that no table covers is the drawing beside boxes and rules; as
# many headers as cells is a step's number beside one wide cell, where the step is harder.
FALSE_ALARMS = {"TBL-010", "TBL-014"}


def errors(pdf: bytes, folder: Path) -> dict[str, str]:
    """Each rule broken, with what was said of it and the page."""
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    result = outloud.check(str(path))
    # It never raises: what stopped it, and rules that crashed, are told in the result.
    assert not result.error, result.error
    assert not [run.rule for run in result.runs if run.status == "crashed"]
    return {
        finding.rule: f"page {finding.page}: {finding.message}"
        for finding in result.findings
        if finding.severity == "error" and finding.rule not in FALSE_ALARMS
    }


@pytest.mark.parametrize("name", ["routine", "tense-white", "half-filled"])
def test_a_second_checker_finds_nothing(pdf_of: PdfOf, tmp_path: Path, name: str) -> None:
    assert not errors(pdf_of(name), tmp_path)


PAGE = '<html lang="en"><head><title>Sheet</title></head><body><h1>Sheet</h1>{}</body></html>'
CELLS = "<tr><td>one</td><td>two</td></tr>"


def test_it_can_find_one(tmp_path: Path) -> None:
    assert not errors(write_pdf(PAGE.format("<p>text</p>")), tmp_path)
    assert "TBL-001" in errors(write_pdf(PAGE.format(f"<table>{CELLS * 3}</table>")), tmp_path)
