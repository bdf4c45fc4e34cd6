"""The PDF: PDF/UA-1 by an independent validator, nothing fetched, same bytes, every page says which eye."""

from __future__ import annotations

import hashlib
import http.server
import logging
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import page
import pytest
from pypdf import PageObject
from seeds import one_in

from planner.documents.plan.view import PlanView
from planner.documents.printing.pdf import render_pdf, write_pdf
from planner.errors import PlannerError
from planner.plan.plan import Approval

from .conftest import PRINTED, PdfOf, PlanOf, SheetsOf, read, squeezed, with_case

SMALLEST_PT = 8.5
# Unlike in length and in what they hold; the others are set by the demonstration itself.


@pytest.mark.parametrize("name", PRINTED)
def test_every_plan_is_set_without_a_warning_and_is_pdf_ua(pdf_of: PdfOf, name: str) -> None:
    # page-validation checks the 104 machine-checkable rules of ISO 14289-1 that it knows; rendering raises on warnings.
    report = page.validate_pdf_bytes(pdf_of(name))
    assert report.profile == page.ValidationProfile.PDF_UA_1
    assert report.is_compliant, [(failure.rule_id, failure.message) for failure in report.failures]


@pytest.mark.parametrize("name", PRINTED)
def test_every_page_says_which_case_which_eye_and_which_rulebook(
    plan_of: PlanOf, sheets_of: SheetsOf, name: str
) -> None:
    plan, sheets = plan_of(name), sheets_of(name)
    case, book = plan.assessment.case, plan.assessment.rulebook
    pages = len(sheets)
    for number, text in enumerate(sheets, 1):
        place = f"page {number} of {pages}"
        for words in (f"{case.eye} eye".upper(), case.reference, book.version, book.sha256[:8], place):
            assert squeezed(words) in text, (number, words)
        assert squeezed(plan.draft_line or "") in text


# Letters of scripts that the shipped faces do not hold, as people write them: Han, Arabic, and a pictograph (U+1F642).
# A mark alone would do: one such letter in one case's text once kept a whole day's papers from being set.
@pytest.mark.parametrize("letter", one_in(3, [("漢-7", "[U+6F22]-7"), ("ش-7", "[U+0634]-7"), ("🙂 7", "[U+1F642] 7")]))
def test_a_letter_that_no_face_holds_is_printed_as_its_number(plan_of: PlanOf, letter: tuple[str, str]) -> None:
    written, printed = letter
    approval = Approval("Łżą Żβя", "2026-11-02T08:00", 1, 1, written, "")
    set_so = replace(plan_of("routine"), approval=approval)
    text = squeezed("".join(sheet.extract_text() for sheet in read(render_pdf(set_so)).pages))
    assert squeezed(printed) in text and "ŁżąŻβя" in text


@pytest.mark.parametrize("name", PRINTED)
def test_front_page_says_tier_supervision_and_readiness(plan_of: PlanOf, sheets_of: SheetsOf, name: str) -> None:
    plan = plan_of(name)
    front = sheets_of(name)[0]
    assert f"Tier{plan.assessment.tier.working}" in front
    assert squeezed(plan.supervision.mode.replace("-", " ")).lower() in front.lower()
    assert ("Ready" if plan.assessment.readiness.state == "ready" else "Settlefirst") in front
    assert "TEMPORAL" in front


@pytest.mark.parametrize("name", PRINTED)
def test_the_theatre_sheet_comes_first_and_the_preparation_behind_it(
    plan_of: PlanOf, sheets_of: SheetsOf, name: str
) -> None:
    plan = plan_of(name)
    front, back, third = sheets_of(name)[:3]
    approval = ("Tier approved", "Consultant, by name", "Date and time", "Reason; conditions")
    for words in ("Re-check at the table", *approval, plan.supervision.contact or "", *plan.deferral[:-1]):
        assert squeezed(words) in front, words
    assert (squeezed(plan.range_note) in front) == PlanView(plan).risk.ranged
    assert all(squeezed(step.label) in back for step in plan.steps)
    assert "Preparation" in third
    # Where too little is recorded for a technique that stands above the steps, and there is no pause.
    pauses = [pause.if_ for step in plan.steps for pause in step.pause_if]
    assert bool(pauses) == (plan.assessment.tier.on_record is not None)
    assert squeezed(pauses[0] if pauses else plan.steps[0].do[0]) in back


@pytest.mark.parametrize("name", PRINTED)
def test_what_the_theatre_sheet_leaves_out_stands_in_the_preparation(
    plan_of: PlanOf, sheets_of: SheetsOf, name: str
) -> None:
    assessment, sheets = plan_of(name).assessment, sheets_of(name)
    # The head and foot of a page are drawn after its body; without them a label may run over the page's end.
    head = f"{assessment.case.eye.upper()}EYE{squeezed(assessment.case.reference)}page"
    printed = "".join(sheet.partition(head)[0] for sheet in sheets[2:])
    for words in (
        *(reason.settled_by for reason in assessment.readiness.because),
        *(m.label for m in assessment.missing),
        *(look.who for look in assessment.looks),
    ):
        # A label within a sentence begins small.
        assert squeezed(words).casefold() in printed.casefold(), words


@pytest.mark.parametrize(("name", "sides"), [("routine", 6), ("tense-white", 8), ("half-filled", 10)])
def test_a_plan_is_no_longer_than_a_team_will_read(sheets_of: SheetsOf, name: str, sides: int) -> None:
    assert len(sheets_of(name)) <= sides


def test_metadata_and_language(plan_of: PlanOf, pdf_of: PdfOf) -> None:
    document = read(pdf_of("routine"))
    assert document.metadata is not None
    assert document.metadata.title == f"{plan_of('routine').title}: H-101, RIGHT EYE"
    assert document.root_object["/Lang"] == "en-GB"


def sizes(sheet: PageObject) -> Iterator[tuple[float, str]]:
    found: list[tuple[float, str]] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip():
            # The page may be scaled, so may the text, and the drawing is scaled once more.
            found.append((size * abs(tm[3]) * abs(cm[3]), text.strip()))

    sheet.extract_text(visitor_text=visit)
    yield from found


@pytest.mark.parametrize("name", PRINTED)
def test_no_letter_is_smaller_than_the_type_scale(pdf_of: PdfOf, name: str) -> None:
    measured = [pair for sheet in read(pdf_of(name)).pages for pair in sizes(sheet)]
    assert max(measured)[0] == pytest.approx(30, abs=0.2)
    too_small = [pair for pair in measured if pair[0] < SMALLEST_PT - 0.05]
    assert not too_small, too_small[:5]


@pytest.mark.parametrize("name", PRINTED)
def test_only_the_shipped_fonts_are_used_and_all_are_embedded(pdf_of: PdfOf, name: str) -> None:
    fonts = {
        font["/BaseFont"]: font
        for sheet in read(pdf_of(name)).pages
        for font in (reference.get_object() for reference in sheet["/Resources"]["/Font"].values())
    }
    assert fonts
    for base, font in fonts.items():
        # The families that the style sheets give the shipped files; a font of the system would keep its own name.
        assert base.partition("+")[2].startswith(("Plan-Text", "Plan-Display")), base
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_same_plan_same_bytes_here_and_in_a_new_process(plan_of: PlanOf, pdf_of: PdfOf, tmp_path: Path) -> None:
    case = Path(__file__).parents[2] / "demo_cases" / "cases" / "routine.yaml"
    unit = case.parents[1] / "unit.yaml"
    again = render_pdf(plan_of("routine"))
    assert again == pdf_of("routine")
    pdf = tmp_path / "plan.pdf"
    command = [sys.executable, "-m", "planner", "plan", str(case), "--unit", str(unit), "-o", str(pdf)]
    subprocess.run(command, check=True, cwd=tmp_path, env={"PATH": "", "TZ": "Pacific/Auckland", "LANG": "C"})
    assert hashlib.sha256(pdf.read_bytes()).digest() == hashlib.sha256(again).digest()


@pytest.fixture
def server() -> Iterator[tuple[str, list[str]]]:
    hits: list[str] = []

    class Counting(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            hits.append(self.path)
            self.send_response(404)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            pass

    listening = http.server.HTTPServer(("127.0.0.1", 0), Counting)
    thread = threading.Thread(target=listening.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{listening.server_port}", hits
    listening.shutdown()
    thread.join()
    listening.server_close()


@pytest.mark.parametrize(
    "markup",
    [
        '<img src="{at}/a.png">',
        '<link rel="stylesheet" href="{at}/a.css">',
        '<style>@import "{at}/a.css";</style>',
        '<style>@font-face {{ font-family: X; src: url("{at}/a.ttf") }} p {{ font-family: X }}</style><p>x</p>',
        '<p style="background: url({at}/a.png)">x</p>',
        '<svg xmlns="http://www.w3.org/2000/svg"><image href="{at}/a.png" width="9" height="9"/></svg>',
        '<object data="{at}/a.svg"></object>',
        '<img src="file:///etc/hostname">',
        '<link rel="attachment" href="file:///etc/hostname">',
        '<img src="data:image/png;base64,AAAA">',
    ],
)
def test_a_page_that_fetches_anything_is_not_printed(server: tuple[str, list[str]], markup: str) -> None:
    address, hits = server
    html = f'<html lang="en"><head><title>t</title></head><body>{markup.format(at=address)}</body></html>'
    with pytest.raises(PlannerError, match="asks for"):
        write_pdf(html)
    assert not hits


def test_an_image_tag_in_a_reference_is_printed_as_text(plan_of: PlanOf, server: tuple[str, list[str]]) -> None:
    address, hits = server
    reference = f"<img src={address}/x>"
    pdf = render_pdf(with_case(plan_of("routine"), reference=reference))
    assert squeezed(reference) in squeezed(read(pdf).pages[0].extract_text())
    assert not hits


def test_a_reference_of_sixty_characters_fits(plan_of: PlanOf) -> None:
    reference = "W" * 60
    document = read(render_pdf(with_case(plan_of("routine"), reference=reference)))
    assert all(squeezed(reference) in squeezed(sheet.extract_text()) for sheet in document.pages)


def test_a_page_with_faulty_styles_is_refused(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.CRITICAL), pytest.raises(PlannerError, match="cannot be set as written"):
        write_pdf('<html lang="en"><head><title>t</title></head><body style="no-such-property: 1">x</body></html>')
