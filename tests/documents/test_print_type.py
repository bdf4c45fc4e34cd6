"""Type: sizes from one declared scale, and figures of one width, read from the fonts by fontTools."""

from __future__ import annotations

import re

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.ttLib import TTFont

from planner.documents.printing.fonts import FACES, fonts_folder
from planner.documents.printing.pdf import write_pdf
from planner.shipped import templates_folder

from .conftest import PRINTED, PdfOf
from .sheet import Printed, printed

FIGURES = "0123456789"


def scale() -> set[float]:
    """The sizes in points that the first line of the type's styles declares."""
    declared = (
        (templates_folder() / "base" / "type.css").read_text("utf-8").partition("one scale:")[2].partition("*/")[0]
    )
    return {float(size) for size in re.findall(r"\d+(?:\.\d+)?", declared)}


def off_the_scale(sheet: Printed) -> set[tuple[float, str]]:
    """Sizes that are none of the scale's, and what is set in them; a drawing scales as one, down to the smallest."""
    drawn = sheet.drawn()
    return {
        (text.size, text.words)
        for number, page in enumerate(sheet.sheets)
        for text in page.texts
        if (text.size < min(scale()) if (number, text.mark) in drawn else text.size not in scale())
    }


@pytest.mark.parametrize("name", PRINTED)
def test_every_size_is_on_the_scale(pdf_of: PdfOf, name: str) -> None:
    assert not off_the_scale(printed(pdf_of(name)))


def test_the_scale_is_short_and_another_size_is_found() -> None:
    # Text steps by half points, so that the theatre sheet is set as large as its eye leaves room for.
    assert 3 <= len(scale()) <= 9
    page = '<html lang="en"><head><title>t</title></head><body><p style="font-size: {}pt">text</p></body></html>'
    assert not off_the_scale(printed(write_pdf(page.format(max(scale())))))
    assert off_the_scale(printed(write_pdf(page.format(max(scale()) + 0.5))))


def widths(font: TTFont) -> set[int]:
    """Advances of the ten figures in font units, after the font's own tabular figures where it has any."""
    named = font.getBestCmap()
    glyphs = [named[ord(figure)] for figure in FIGURES]
    if "GSUB" in font:
        table = font["GSUB"].table
        tabular = {
            index
            for feature in table.FeatureList.FeatureRecord
            if feature.FeatureTag == "tnum"
            for index in feature.Feature.LookupListIndex
        }
        for index in sorted(tabular):
            for part in table.LookupList.Lookup[index].SubTable:
                swaps = getattr(part, "ExtSubTable", part).mapping
                glyphs = [swaps.get(glyph, glyph) for glyph in glyphs]
    return {font["hmtx"][glyph][0] for glyph in glyphs}


@pytest.mark.parametrize("name", [name for *_, name in FACES])
def test_figures_stand_under_each_other(name: str) -> None:
    assert len(widths(TTFont(fonts_folder() / name))) == 1


def test_figures_of_unlike_width_are_found() -> None:
    names = [f"figure{figure}" for figure in FIGURES]
    builder = FontBuilder(1000)
    builder.setupGlyphOrder([".notdef", *names])
    builder.setupCharacterMap({ord(figure): glyph for figure, glyph in zip(FIGURES, names, strict=True)})
    builder.setupGlyf({})
    builder.setupHorizontalMetrics({".notdef": (500, 0), **{glyph: (500, 0) for glyph in names}, "figure1": (310, 0)})
    assert widths(builder.font) == {500, 310}
