"""What can be wrong with where things lie on a printed sheet: each function gives one line a fault."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from .sheet import Box, Leaf, Printed, Sheet, Text

MM = 72 / 25.4
# The page's own margins (templates/base/page.css). What office printers leave white is 12 points at each
# edge of A4, more on some: common practice, no standard sets it.
SIDE_MM, FIRST_TOP_MM, TOP_MM, FOOT_MM = 9, 8, 11, 11
OUT_OF_REACH_PT = 12
# Ink may meet by less than a hair's breadth: a descender under a tight line, an advance rounded to whole units.
TOUCH_PT = 1.0
THIN_PT = 4.0
# A box of ink reaches as low as its lowest letter, so a rule may end between descenders without meeting one.
CROSS_PT = 2.0
HEADINGS = frozenset({"H1", "H2", "H3", "H4", "H5", "H6"})


def orphan_headings(sheet: Printed) -> Iterator[str]:
    """Headings with nothing of theirs below them in the same column of the same page."""
    places = _places(sheet)
    for number, (leaf, following) in enumerate(pairwise([*sheet.leaves, None])):
        if not _is_heading(leaf) or (leaf.page, leaf.mark) not in places:
            continue
        if _is_heading(following) and following is not None and following.tags == leaf.tags:
            continue  # another line, or another run, of the same heading
        later = (one for one in sheet.leaves[number + 1 :] if not _is_heading(one) and "THead" not in one.tags)
        own = next((one for one in later if _place(one) in places), None)
        if own is not None and "TH" in own.tags and "TR" in leaf.tags:
            continue  # the next row's own name follows: this row's heading is all it says
        heading = places[_place(leaf)]
        in_a_row = own is not None and own.page == leaf.page and "TR" in leaf.tags and "TR" in own.tags
        if own is not None and in_a_row and places[_place(own)][0].box.left >= max(text.box.right for text in heading):
            continue  # a step's name with its pauses in the next cell of the row
        if own is None or own.page != leaf.page or places[_place(own)][0].box.top > heading[0].box.top + TOUCH_PT:
            yield f"page {leaf.page + 1}: nothing under the heading {heading[0].words!r}"


def split_rows(sheet: Printed) -> Iterator[str]:
    """Rows begun on one page and ended on the next.

    The tags give the rest of such a row as a row of its own: the first of its page's table, with its first cell (the
    row's number or name, which is short) spent while another has more to say.
    """
    words = _places(sheet)
    for before, row in pairwise([None, *sheet.rows]):
        first_here = before is None or before.section != "TBody" or before.page != row.page
        if row.section != "TBody" or not first_here or not row.cells or row.cells[0]:
            continue
        rest = [text.words for cell in row.cells for leaf in cell for text in words.get(_place(leaf), [])]
        if rest:
            yield f"page {row.page + 1}: the rest of a row begun on the page before: {rest[0]!r}"
    for row in sheet.rows:
        pages = {leaf.page + 1 for cell in row.cells for leaf in cell}
        if len(pages) > 1:
            yield f"one row on pages {sorted(pages)}"


def outside(sheet: Printed) -> Iterator[str]:
    """Tagged text outside the page's margins; what stands at the head and foot of every page is not tagged."""
    tagged = {_place(leaf) for leaf in sheet.leaves}
    for number, page in enumerate(sheet.sheets):
        top = TOP_MM if number else FIRST_TOP_MM
        for text in page.texts:
            if (number, text.mark) in tagged and not _inside(text.box, page, SIDE_MM * MM, top * MM, FOOT_MM * MM):
                yield f"page {number + 1}: outside the margins: {text.words!r} {_mm(text.box)}"


def out_of_reach(sheet: Printed) -> Iterator[str]:
    """Anything so near the paper's edge that a printer leaves it white."""
    for number, page in enumerate(sheet.sheets):
        for item in (*page.texts, *page.shapes):
            if not _inside(item.box, page, OUT_OF_REACH_PT, OUT_OF_REACH_PT, OUT_OF_REACH_PT):
                what = repr(item.words) if isinstance(item, Text) else "a line or an area"
                yield f"page {number + 1}: out of the printer's reach: {what} {_mm(item.box)}"


def overlaps(sheet: Printed) -> Iterator[str]:
    """Texts printed over each other."""
    for number, page in enumerate(sheet.sheets):
        above: list[Text] = []
        for text in sorted(page.texts, key=lambda text: -text.box.top):
            above = [one for one in above if one.box.bottom < text.box.top - TOUCH_PT]
            for one in above:
                if _shared(one.box.left, one.box.right, text.box.left, text.box.right) > TOUCH_PT:
                    yield f"page {number + 1}: {one.words!r} and {text.words!r} over each other {_mm(text.box)}"
            above.append(text)


def crossed(sheet: Printed) -> Iterator[str]:
    """Text that a rule, or the edge of a box, runs through; drawings apart, where lines meet letters on purpose."""
    drawn = sheet.drawn()
    for number, page in enumerate(sheet.sheets):
        edges = [shape.box for shape in page.shapes if (number, shape.mark) not in drawn]
        # The ends of a thin rule are no edges.
        uprights = {(x, box.bottom, box.top) for box in edges for x in (box.left, box.right) if _tall(box) > THIN_PT}
        levels = {(y, box.left, box.right) for box in edges for y in (box.bottom, box.top) if _wide(box) > THIN_PT}
        for text in page.texts:
            box = text.box
            if any(
                _within(x, box.left, box.right) and _shared(bottom, top, box.bottom, box.top) > CROSS_PT
                for x, bottom, top in uprights
            ) or any(
                _within(y, box.bottom, box.top) and _shared(left, right, box.left, box.right) > CROSS_PT
                for y, left, right in levels
            ):
                yield f"page {number + 1}: a line runs through {text.words!r} {_mm(box)}"


def _is_heading(leaf: Leaf | None) -> bool:
    return leaf is not None and not HEADINGS.isdisjoint(leaf.tags)


def _place(leaf: Leaf) -> tuple[int, int]:
    return leaf.page, leaf.mark


def _places(sheet: Printed) -> dict[tuple[int, int], list[Text]]:
    """The texts of each mark, by page and mark."""
    made: dict[tuple[int, int], list[Text]] = {}
    for number, page in enumerate(sheet.sheets):
        for text in page.texts:
            made.setdefault((number, text.mark), []).append(text)
    return made


def _inside(box: Box, page: Sheet, side: float, top: float, foot: float) -> bool:
    slack = TOUCH_PT  # letters lean out of their advance, and brackets hang below a tight line
    return (
        box.left >= side - slack
        and box.right <= page.width - side + slack
        and box.bottom >= foot - slack
        and box.top <= page.height - top + slack
    )


def _shared(start: float, end: float, other_start: float, other_end: float) -> float:
    return min(end, other_end) - max(start, other_start)


def _within(at: float, start: float, end: float) -> bool:
    return start + TOUCH_PT < at < end - TOUCH_PT


def _wide(box: Box) -> float:
    return box.right - box.left


def _tall(box: Box) -> float:
    return box.top - box.bottom


def _mm(box: Box) -> str:
    left, bottom, right, top = (round(end / MM) for end in box)
    return f"({left} to {right} mm from the left, {bottom} to {top} mm from the foot)"
