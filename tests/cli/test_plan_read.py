"""`planner plan read`: what it gives back, and what it says of a file that is no plan."""

from __future__ import annotations

import io
import json
import logging
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, case_text, files
from pypdf import PdfWriter
from pypdf.generic import DecodedStreamObject
from seeds import one_in

from planner.exchange.plan_pdf import LARGEST_PDF, LARGEST_RECORD

ROOT = Path(__file__).parents[2]
RECORD = {
    "case": {"case": "A-1", "eye": "right", "findings": {"age_years": 71, "alpha_blocker_ever": ["tamsulosin"]}},
    "rulebook": {"id": "some-book", "version": "9.9.9", "sha256": "ab" * 32, "status": "draft"},
    "on": None,
    "unit": None,
    "stage": "middle",
    "planner": "0.1.0",
}


def pdf_with(*attachments: object, name: str = "case.json", password: str = "") -> bytes:
    """A blank page with files embedded in it."""
    writer = PdfWriter()
    writer.add_blank_page(100, 100)
    for content in attachments:
        writer.add_attachment(name, content if isinstance(content, bytes) else json.dumps(content).encode())
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    made = io.BytesIO()
    writer.write(made)
    return made.getvalue()


@pytest.mark.parametrize(
    "changed", one_in(2, [{"lens_shifts_with_posture": "yes", "alpha_blocker_ever": "[tamsulosin, other]"}, {}])
)
def test_a_plan_read_and_planned_again_is_the_same_to_the_byte(
    changed: dict[str, str], planner: Callable[..., Ran], folder: Path
) -> None:
    (folder / "case.yaml").write_text(case_text(**changed))
    assert planner("plan", "case.yaml", "-o", "first.pdf").code == 0
    ran = planner("plan", "read", "first.pdf")
    assert ran.code == 0
    (said,) = ran.err.splitlines()
    assert "for 2026-11-02, stage middle; the rulebook in use is the same" in said
    assert planner("plan", "-", "-o", "again.pdf", stdin=ran.out.encode()).code == 0
    assert (folder / "again.pdf").read_bytes() == (folder / "first.pdf").read_bytes()


def test_json_is_all_that_is_embedded_as_it_stands(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "plan.pdf").write_bytes(pdf_with(RECORD))
    ran = planner("plan", "read", "plan.pdf", "--json")
    assert (ran.code, json.loads(ran.out)) == (0, RECORD)


def test_it_says_when_the_rulebook_is_another_now(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "plan.pdf").write_bytes(pdf_with(RECORD))
    (said,) = planner("plan", "read", "plan.pdf").err.splitlines()
    assert said.startswith("made with some-book 9.9.9 (abababababab, draft), for no date, stage middle; ")
    assert "the rulebook in use differs: " in said


def test_it_is_read_by_the_rulebook_that_is_named(planner: Callable[..., Ran], folder: Path) -> None:
    shutil.copytree(ROOT / "rules", folder / "rules")
    findings = folder / "rules" / "findings.yaml"
    findings.write_text(findings.read_text().replace("id: age_years", "id: age_in_years", 1))
    (folder / "plan.pdf").write_bytes(pdf_with(RECORD))
    assert planner("plan", "read", "plan.pdf").code == 0
    ran = planner("plan", "read", "plan.pdf", "--rules", "rules")
    # The changed book may fail before or at the case, and names the finding either way.
    assert "age_years" in ran.error


def test_a_case_that_the_rulebook_refuses_is_still_to_be_had(planner: Callable[..., Ran], folder: Path) -> None:
    record = RECORD | {"case": {"case": "A-1", "eye": "right", "findings": {"age_years": 710, "no_such": "yes"}}}
    (folder / "plan.pdf").write_bytes(pdf_with(record))
    first, *others = planner("plan", "read", "plan.pdf").error.splitlines()
    assert "refuses this case" in first and "--json" in first
    assert len(others) == 2 and all("plan.pdf, case.json" in other for other in others)
    assert json.loads(planner("plan", "read", "plan.pdf", "--json").out) == record


def test_a_file_called_read_is_reached_by_its_path(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "read").write_text(case_text())
    ran = planner("plan", "./read", "--format", "json")
    assert json.loads(ran.out)["assessment"]["case"] == "A-1"
    assert planner("plan", "--format", "json", "read").code == 0
    assert "`planner plan read" in " ".join(planner("plan", "--help").out.split())


GOOD = pdf_with(RECORD)
WRONG: dict[str, tuple[bytes, str]] = {
    "no PDF": (b"case: A-1\n", "is not a PDF"),
    "empty": (b"", "is not a PDF"),
    "only its first bytes": (b"%PDF-1.7\n%%EOF\n", "cannot be read as a PDF"),
    "truncated": (GOOD[: len(GOOD) // 2], "is cut off"),
    "truncated, its end put back": (GOOD[: len(GOOD) // 2] + b"\n%%EOF\n", "plan.pdf"),
    "encrypted": (pdf_with(RECORD, password="secret"), "is encrypted"),
    "no attachment": (pdf_with(), "holds no case"),
    "another attachment": (pdf_with(RECORD, name="notes.json"), "holds no case"),
    "several": (pdf_with(RECORD, RECORD), "holds 2 cases"),
    "not JSON": (pdf_with(b"case: A-1"), "is not JSON"),
    "not text": (pdf_with(b"\xff\xfe\x00"), "is not a text file"),
    "control characters": (pdf_with(b'{"case": "\x1b[31m"}'), "do not print"),
    "a list": (pdf_with([RECORD]), "is not what a plan holds"),
    "no case": (pdf_with({**RECORD, "case": None}), "lacking, or not as it should be: case"),
    "no rulebook": (pdf_with({**RECORD, "rulebook": 5}), "rulebook.sha256"),
    "a stage of two lines": (pdf_with({**RECORD, "stage": "a\nb"}), "stage"),
    "no mention of a date": (pdf_with({k: v for k, v in RECORD.items() if k != "planner"}), "planner"),
    "an attachment too large": (pdf_with(b" " * (LARGEST_RECORD + 1)), "is larger than"),
    "a key twice": (pdf_with(b'{"on": null, "on": null}'), "stands twice"),
    "nested without end": (pdf_with(b"[" * 100_000), "nested too deeply"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_no_plan_is_one_error_with_something_to_try(
    name: str, planner: Callable[..., Ran], folder: Path
) -> None:
    content, words = WRONG[name]
    (folder / "plan.pdf").write_bytes(content)
    ran = planner("plan", "read", "plan.pdf")
    assert words in ran.error and "plan.pdf" in ran.error
    assert "; try: " in ran.error
    assert ran.out == ""
    assert files(folder) == {"plan.pdf"}


def test_a_missing_and_a_huge_file_are_said(planner: Callable[..., Ran], folder: Path) -> None:
    assert "missing.pdf: cannot be read: No such file" in planner("plan", "read", "missing.pdf").error
    with (folder / "huge.pdf").open("wb") as stream:
        stream.truncate(LARGEST_PDF + 1)
    assert "is larger than" in planner("plan", "read", "huge.pdf").error
    assert "is a folder" in planner("plan", "read", ".").error


def test_an_attachment_that_swells_is_stopped(planner: Callable[..., Ran], folder: Path) -> None:
    # 200 million spaces in a few hundred kilobytes: pypdf stops unpacking long before.
    (folder / "plan.pdf").write_bytes(compressed(b" " * 200_000_000))
    assert "plan.pdf" in planner("plan", "read", "plan.pdf").error


def compressed(content: bytes) -> bytes:
    writer = PdfWriter()
    writer.add_blank_page(100, 100)
    writer.add_attachment("case.json", b"")
    place = next(n for n, item in enumerate(writer._objects) if "/EmbeddedFile" in str(item))
    stream = DecodedStreamObject()
    stream.set_data(content)
    writer._objects[place] = stream.flate_encode()
    made = io.BytesIO()
    writer.write(made)
    return made.getvalue()


def test_what_pypdf_warns_of_is_not_printed(planner: Callable[..., Ran], folder: Path) -> None:
    level = logging.getLogger("pypdf").level
    # A cross-reference table that starts in the wrong place, which readers mend.
    (folder / "plan.pdf").write_bytes(GOOD.replace(b"startxref\n", b"startxref\n1"))
    ran = planner("plan", "read", "plan.pdf", "--json")
    assert ran.code == 0 and json.loads(ran.out) == RECORD
    assert len(ran.err.splitlines()) == 1
    assert logging.getLogger("pypdf").level == level
