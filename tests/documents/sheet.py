"""A printed PDF as pdfium draws it and as its tags order it, read without any part of the program.

Boxes are (left, bottom, right, top) in points from the paper's lower left corner, colours 0 to 255.
"""

from __future__ import annotations

import ctypes
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import pypdfium2 as pdfium
import pypdfium2.raw as raw
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject

Colour = tuple[int, int, int]


class Box(NamedTuple):
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True)
class Text:
    """One run of text: what it says, where its ink lies, how large in points, in what colour, under which mark."""

    words: str
    box: Box
    size: float
    colour: Colour
    mark: int


@dataclass(frozen=True)
class Shape:
    """A filled area or a line, its colours, and the mark it stands under; -1 where it is decoration."""

    box: Box
    colours: tuple[Colour, ...]
    mark: int


@dataclass
class Sheet:
    """One page's texts and shapes in the order they are painted."""

    width: float
    height: float
    texts: list[Text] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)


@dataclass(frozen=True)
class Leaf:
    """A marked piece of content under its tags, from the document down; `page` counts from 0."""

    tags: tuple[str, ...]
    page: int
    mark: int


@dataclass
class Row:
    """A table's row: the tag of the section it stands in, its page, and the leaves of each cell."""

    section: str
    page: int
    cells: list[list[Leaf]] = field(default_factory=list)


@dataclass
class Printed:
    """A whole document: its pages, its tagged content in reading order, and every table row."""

    sheets: list[Sheet]
    leaves: list[Leaf]
    rows: list[Row]

    def drawn(self) -> set[tuple[int, int]]:
        """Pages and marks of what stands inside a drawing."""
        return {(leaf.page, leaf.mark) for leaf in self.leaves if "Figure" in leaf.tags}


def sheets(pdf: bytes) -> list[Sheet]:
    """What lies on each page of a PDF, tagged or not."""
    document = pdfium.PdfDocument(pdf)
    try:
        return [_sheet(page) for page in document]
    finally:
        document.close()


def printed(pdf: bytes) -> Printed:
    """What lies on each page of a PDF, and how its tags order it."""
    made = Printed(sheets(pdf), [], [])
    reader = PdfReader(io.BytesIO(pdf))
    pages = {page.indirect_reference.idnum: number for number, page in enumerate(reader.pages)}  # type: ignore[union-attr]
    root = reader.trailer["/Root"]["/StructTreeRoot"]  # type: ignore[index]
    _gather(root.raw_get("/K"), made, pages, (), -1, None)
    return made


def _gather(
    item: Any, made: Printed, pages: dict[int, int], tags: tuple[str, ...], page: int, cell: list[Leaf] | None
) -> None:
    """Goes down the tags in reading order; `cell` is the table cell it is in."""
    item = item.get_object()
    if isinstance(item, ArrayObject):
        for one in item:
            _gather(one, made, pages, tags, page, cell)
        return
    if isinstance(item, DictionaryObject) and "/MCID" not in item:
        if "/Pg" in item:
            page = pages[item.raw_get("/Pg").idnum]
        tag = str(item["/S"])[1:]
        if tag == "TR":
            made.rows.append(Row(tags[-1], page))
        elif tag in ("TH", "TD"):
            cell = []
            made.rows[-1].cells.append(cell)
        if "/K" in item:
            _gather(item.raw_get("/K"), made, pages, (*tags, tag), page, cell)
        return
    leaf = Leaf(tags, page, int(item["/MCID"] if isinstance(item, DictionaryObject) else item))
    made.leaves.append(leaf)
    if cell is not None:
        cell.append(leaf)


def _sheet(page: Any) -> Sheet:
    made = Sheet(*page.get_size())
    words = page.get_textpage()
    try:
        count = raw.FPDFPage_CountObjects(page.raw)
        objects = (raw.FPDFPage_GetObject(page.raw, index) for index in range(count))
        for item, matrix, mark in _flat(objects, raw.FS_MATRIX(1, 0, 0, 1, 0, 0), None):
            _add(made, words, item, matrix, mark)
    finally:
        words.close()
    return made


def _flat(objects: Iterator[Any], matrix: Any, mark: int | None) -> Iterator[tuple[Any, Any, int]]:
    """Objects as painted, those of a form in the form's place; each with the mark it stands under."""
    for item in objects:
        if raw.FPDFPageObj_GetType(item) != raw.FPDF_PAGEOBJ_FORM:
            yield item, matrix, raw.FPDFPageObj_GetMarkedContentID(item) if mark is None else mark
            continue
        own = raw.FS_MATRIX()
        raw.FPDFPageObj_GetMatrix(item, own)
        inside = (raw.FPDFFormObj_GetObject(item, index) for index in range(raw.FPDFFormObj_CountObjects(item)))
        outer = raw.FPDFPageObj_GetMarkedContentID(item) if mark is None else mark
        yield from _flat(inside, _times(own, matrix), outer)


def _times(first: Any, then: Any) -> Any:
    return raw.FS_MATRIX(
        first.a * then.a + first.b * then.c,
        first.a * then.b + first.b * then.d,
        first.c * then.a + first.d * then.c,
        first.c * then.b + first.d * then.d,
        first.e * then.a + first.f * then.c + then.e,
        first.e * then.b + first.f * then.d + then.f,
    )


def _add(sheet: Sheet, words: Any, item: Any, matrix: Any, mark: int) -> None:
    kind, own = raw.FPDFPageObj_GetType(item), raw.FS_MATRIX()
    raw.FPDFPageObj_GetMatrix(item, own)
    placed = _times(own, matrix)
    if kind == raw.FPDF_PAGEOBJ_TEXT:
        size = ctypes.c_float()
        raw.FPDFTextObj_GetFontSize(item, size)
        tall = round(size.value * (placed.c**2 + placed.d**2) ** 0.5, 2)
        if said := _words(item, words).strip():
            sheet.texts.append(
                Text(said, _bounds(item, matrix), tall, _colour(raw.FPDFPageObj_GetFillColor, item), mark)
            )
    elif kind == raw.FPDF_PAGEOBJ_PATH:
        filled, stroked = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(item, filled, stroked)
        inks = [raw.FPDFPageObj_GetFillColor] * bool(filled.value) + [raw.FPDFPageObj_GetStrokeColor] * stroked.value
        if inks:
            sheet.shapes.append(
                Shape(_path_box(item, placed, bool(stroked.value)), tuple(_colour(ink, item) for ink in inks), mark)
            )
    else:
        raise AssertionError(f"neither text nor a drawn shape: pdfium's kind {kind}")


def _bounds(item: Any, matrix: Any) -> Box:
    ends = [ctypes.c_float() for _ in range(4)]
    raw.FPDFPageObj_GetBounds(item, *ends)
    left, bottom, right, top = (end.value for end in ends)
    return _around([(x, y) for x in (left, right) for y in (bottom, top)], matrix)


def _path_box(item: Any, placed: Any, stroked: bool) -> Box:
    """Around the path's own points and half its pen: pdfium's bounds of a line are several times as thick."""
    points = []
    for index in range(raw.FPDFPath_CountSegments(item)):
        x, y = ctypes.c_float(), ctypes.c_float()
        raw.FPDFPathSegment_GetPoint(raw.FPDFPath_GetPathSegment(item, index), x, y)
        points.append((x.value, y.value))
    pen = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(item, pen)
    half = pen.value / 2 * (placed.c**2 + placed.d**2) ** 0.5 if stroked else 0
    left, bottom, right, top = _around(points, placed)
    return Box(left - half, bottom - half, right + half, top + half)


def _around(points: list[tuple[float, float]], matrix: Any) -> Box:
    xs = [x * matrix.a + y * matrix.c + matrix.e for x, y in points]
    ys = [x * matrix.b + y * matrix.d + matrix.f for x, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _words(item: Any, words: Any) -> str:
    length = raw.FPDFTextObj_GetText(item, words.raw, None, 0)
    buffer = (ctypes.c_ushort * (length // 2))()
    raw.FPDFTextObj_GetText(item, words.raw, buffer, length)
    return bytes(buffer).decode("utf-16-le").rstrip("\0")


def _colour(get: Any, item: Any) -> Colour:
    red, green, blue, opaque = (ctypes.c_uint() for _ in range(4))
    get(item, red, green, blue, opaque)
    assert opaque.value == 255, "half-transparent ink: its colour depends on what lies beneath"
    return red.value, green.value, blue.value
