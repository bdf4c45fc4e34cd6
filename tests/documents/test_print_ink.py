"""In black and white: only greys, contrast by the WCAG formula, and a print in two tones read by tesseract."""

from __future__ import annotations

import io
import os
import subprocess
from collections.abc import Iterator

import pypdfium2 as pdfium
import pytest
from PIL import Image

from planner.documents.printing.pdf import write_pdf

from .conftest import PRINTED, PdfOf, PlanOf, squeezed
from .sheet import Box, Printed, printed

# WCAG 2.2, success criterion 1.4.3: text against its ground.
LEAST_CONTRAST = 4.5
HALF = 128


@pytest.mark.parametrize("name", PRINTED)
def test_every_plan_reads_in_black_and_white(pdf_of: PdfOf, name: str) -> None:
    assert not list(lost_in_black_and_white(pdf_of(name)))


def lost_in_black_and_white(pdf: bytes) -> Iterator[str]:
    sheet = printed(pdf)
    yield from coloured(sheet)
    for number, (page, picture) in enumerate(zip(sheet.sheets, pictures(pdf, 72), strict=True), 1):
        for text in page.texts:
            ground = commonest_around(picture, text.box)
            ink = text.colour[0]
            if contrast(ink, ground) < LEAST_CONTRAST:
                yield f"page {number}: {text.words!r}: grey {ink} on {ground}"
            if (ink < HALF) == (ground < HALF):
                yield f"page {number}: {text.words!r} goes at a threshold of half: grey {ink} on {ground}"


def coloured(sheet: Printed) -> Iterator[str]:
    for number, page in enumerate(sheet.sheets, 1):
        inks = {text.colour for text in page.texts} | {ink for shape in page.shapes for ink in shape.colours}
        yield from (f"page {number}: the colour {ink}" for ink in inks if len(set(ink)) > 1)


def pictures(pdf: bytes, dots_per_inch: int) -> list[Image.Image]:
    document = pdfium.PdfDocument(pdf)
    try:
        return [page.render(scale=dots_per_inch / 72, grayscale=True).to_pil().convert("L") for page in document]
    finally:
        document.close()


def commonest_around(picture: Image.Image, box: Box) -> int:
    """The grey that most of a text's place has, two dots wider all round, at 72 dots an inch: its ground."""
    left, right = int(box.left) - 2, int(box.right) + 3
    top, bottom = int(picture.height - box.top) - 2, int(picture.height - box.bottom) + 3
    counts = picture.crop((left, top, right, bottom)).histogram()
    return counts.index(max(counts))


def contrast(one: int, other: int) -> float:
    """Contrast of two greys, 0 to 255, as WCAG 2.2 defines it: 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(grey: int) -> float:
    share = grey / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def test_contrast_as_others_state_it() -> None:
    # Black on white, and #767676, widely known as the lightest grey that passes on white.
    assert contrast(0, 255) == pytest.approx(21)
    assert contrast(0x76, 255) >= LEAST_CONTRAST > contrast(0x77, 255)


@pytest.mark.parametrize(
    "body",
    [
        '<p style="color: #a00">red</p>',
        '<p style="border: 1pt solid #00f">framed in blue</p>',
        '<p style="color: #999">faint</p>',
        '<p style="background: #ccc; color: #fff">white on light grey</p>',
        '<p style="background: #000; color: #444">dark on black</p>',
    ],
)
def test_what_black_and_white_would_lose_is_found(body: str) -> None:
    page = '<html lang="en"><head><title>t</title></head><body>{}</body></html>'
    assert not list(lost_in_black_and_white(write_pdf(page.format("<p>plain</p>"))))
    assert list(lost_in_black_and_white(write_pdf(page.format(body))))


def test_side_tier_and_who_are_read_from_a_two_tone_print(plan_of: PlanOf, pdf_of: PdfOf) -> None:
    plan = plan_of("tense-white")
    front, steps = (read_by_machine(picture) for picture in pictures(pdf_of("tense-white"), 200)[:2])
    for page in (front, steps):
        assert f"{plan.assessment.case.eye}eye" in page
    assert f"tier{plan.assessment.tier.working}" in front
    assert squeezed(plan.supervision.mode.replace("-", " ")) in front
    assert plan.steps[0].who in steps


def read_by_machine(picture: Image.Image) -> str:
    """What tesseract reads from the upper third of a picture cut at half grey: small letters without spaces."""
    upper = picture.crop((0, 0, picture.width, picture.height // 3))
    two_tone = upper.point(lambda grey: 255 * (grey >= HALF))
    command = ["tesseract", "stdin", "stdout", "--psm", "11", "--dpi", "200"]
    # One thread: tesseract's own wait for each other when other tests keep the cores busy.
    one_thread = {**os.environ, "OMP_THREAD_LIMIT": "1"}
    done = subprocess.run(command, input=png(two_tone), capture_output=True, check=True, env=one_thread)
    return squeezed(done.stdout.decode("utf-8")).casefold()


def png(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "PNG")
    return written.getvalue()
