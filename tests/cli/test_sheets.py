"""`--sheet`: files that tell the sheets apart, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, case_text, files


@pytest.mark.parametrize("sheet", ["card", "debrief"])
def test_a_sheet_has_a_file_name_of_its_own(sheet: str, planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text())
    assert planner("plan", "case.yaml", "--sheet", sheet).code == 0
    assert files(folder) == {"case.yaml", f"A-1-right-{sheet}.pdf"}
    assert (folder / f"A-1-right-{sheet}.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("more", [["--format", "text"], ["-o", "card.html"]])
def test_a_sheet_is_printed_as_pdf_only(more: list[str], planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text())
    ran = planner("plan", "case.yaml", "--sheet", "card", *more)
    assert ran.code == 2 and "PDF only" in ran.err
    assert files(folder) == {"case.yaml"}
