"""Two pages against kept pictures, by perceptual difference (pixelmatch: YIQ, anti-aliasing set aside).

`PLANNER_RENEW_PICTURES=1` writes the pictures anew; look at them before they are committed.
"""

from __future__ import annotations

import os
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from PIL import Image, ImageChops
from pixelmatch.contrib.PIL import pixelmatch

from .conftest import PdfOf
from .layout_faults import MM
from .sheet import Box, printed

PICTURES = Path(__file__).parent / "pictures"
CASE = "tense-white"
PAGES = {"first-side": 0, "steps": 1}
KEPT_DPI, KEPT_SIZE = 60, (496, 702)
DRAWN_DPI, COARSER_DPI = 240, 180
# Compared at 30 dots an inch, drawn eight times finer and averaged down: there another program's smoothing (poppler)
# differed from pdfium's in 8 and 18 pixels of 87 048, one line of text moved by 3 mm in 296 and more. Drawn at 60 dots
# and compared there, smoothing alone differed in 19 000 and more, a moved line in 2 400 at most: no limit parts them.
COMPARED_SIZE = (248, 351)
THRESHOLD = 0.2
MOST_PIXELS = 100


def drawn(pdf: bytes, page: int, dots_per_inch: int = DRAWN_DPI) -> Image.Image:
    """One page in grey, averaged down to the size that is kept."""
    document = pdfium.PdfDocument(pdf)
    try:
        picture = document[page].render(scale=dots_per_inch / 72, grayscale=True).to_pil().convert("L")
    finally:
        document.close()
    return picture.resize(KEPT_SIZE, Image.Resampling.BOX)


def differing(one: Image.Image, other: Image.Image) -> int:
    """How many pixels look different."""
    coarse = [picture.resize(COMPARED_SIZE, Image.Resampling.BOX).convert("RGBA") for picture in (one, other)]
    return int(pixelmatch(*coarse, threshold=THRESHOLD))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_looks_as_it_did(pdf_of: PdfOf, name: str, tmp_path: Path) -> None:
    kept, now = PICTURES / f"{name}.png", drawn(pdf_of(CASE), PAGES[name])
    if os.environ.get("PLANNER_RENEW_PICTURES"):
        now.save(kept, optimize=True)
    was = Image.open(kept).convert("L")
    assert was.size == KEPT_SIZE
    if (count := differing(was, now)) > MOST_PIXELS:
        now.save(tmp_path / "now.png")
        ImageChops.difference(was, now).save(tmp_path / "difference.png")
        pytest.fail(f"{count} pixels look different from {kept.name}; the page and the difference are in {tmp_path}")


@pytest.mark.parametrize("name", PAGES)
def test_another_smoothing_passes_and_a_line_moved_by_three_millimetres_does_not(pdf_of: PdfOf, name: str) -> None:
    pdf, page = pdf_of(CASE), PAGES[name]
    picture = drawn(pdf, page)
    smoothed = drawn(pdf, page, COARSER_DPI)
    assert smoothed.tobytes() != picture.tobytes()
    assert differing(picture, smoothed) <= MOST_PIXELS

    sheet = printed(pdf).sheets[page]
    widest = max((text.box for text in sheet.texts), key=lambda box: box.right - box.left)
    assert differing(picture, with_line_moved(picture, widest, sheet.height)) > MOST_PIXELS


def with_line_moved(picture: Image.Image, line: Box, height: float) -> Image.Image:
    """The picture with the band in which a line of text stands moved 3 mm down over what is below it."""
    scale = KEPT_DPI / 72
    top, bottom = int((height - line.top) * scale), int((height - line.bottom) * scale) + 1
    band, moved = picture.crop((0, top, picture.width, bottom)), picture.copy()
    moved.paste(255, (0, top, picture.width, bottom))
    moved.paste(band, (0, top + round(3 * MM * scale)))
    return moved
