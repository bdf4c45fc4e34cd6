"""The case inside the PDF: an associated file after ISO 32000-2, read back to the very same plan."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2
import pytest

from planner import __version__
from planner.assess.assess import assess
from planner.case import read_case
from planner.exchange.plan_pdf import read_plan
from planner.plan.make import make_plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

from .conftest import DEMO, PRINTED, PdfOf, PlanOf, read


@pytest.mark.parametrize("name", PRINTED)
def test_a_plan_read_back_makes_the_same_plan(
    name: str, plan_of: PlanOf, pdf_of: PdfOf, rulebook: Rulebook, tmp_path: Path
) -> None:
    path = tmp_path / "plan.pdf"
    path.write_bytes(pdf_of(name))
    embedded = read_plan(path)
    case = read_case(embedded.case, rulebook.vocabulary)
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    # The same plan gives the same bytes: tests/documents/test_pdf.py.
    assert make_plan(assess(case, rulebook, unit), rulebook, unit) == plan_of(name)


def test_it_is_one_associated_file_with_its_relationship_and_no_date(pdf_of: PdfOf) -> None:
    # Keys and values: ISO 32000-2, 7.11.3 table 43 and 7.11.4 table 44 (embedded files), 14.13.2 (associated files).
    document = read(pdf_of("routine"))
    (file,) = document.root_object["/AF"]
    assert file == document.root_object["/Names"]["/EmbeddedFiles"]["/Names"][1]
    specification = file.get_object()
    assert specification["/Type"] == "/Filespec"
    assert specification["/F"] == specification["/UF"] == "case.json"
    assert specification["/AFRelationship"] == "/Data"
    assert specification["/Desc"]
    stream = specification["/EF"]["/F"].get_object()
    assert stream["/Type"] == "/EmbeddedFile" and stream["/Subtype"] == "/application/json"
    assert dict(stream["/Params"]) == {"/Size": len(stream.get_data())}


def test_another_reader_finds_it_too_and_it_says_what_made_the_plan(plan_of: PlanOf, pdf_of: PdfOf) -> None:
    document = pypdfium2.PdfDocument(pdf_of("routine"))
    assert document.count_attachments() == 1
    attachment = document.get_attachment(0)
    assert attachment.get_name() == "case.json"
    data = json.loads(bytes(attachment.get_data()))
    plan = plan_of("routine")
    book = plan.assessment.rulebook
    assert data["rulebook"] == {"id": book.id, "version": book.version, "sha256": book.sha256, "status": book.status}
    assert (data["case"]["case"], data["on"], data["stage"]) == ("H-101", "2026-11-02", "early")
    assert (data["unit"], data["planner"]) == (plan.unit, __version__)
