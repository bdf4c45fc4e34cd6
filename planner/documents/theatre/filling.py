"""What stands on a side of the theatre sheet is chosen by arithmetic, heights being measured from the fonts.

A side has parts that always stand and items that may be left to the preparation. Items come in order of importance;
those before `wanted` are what the side is meant to hold, the others fill what room is left.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from functools import cache
from typing import TypeVar

from planner.documents.printing.choosing import as_many_as_fit
from planner.documents.printing.font_metrics import MM_A_POINT, count_lines, text_width_mm

# Type sizes in points, the largest first; the last is for the hardest eyes.
SIZES = (11.0, 10.5, 10.0, 9.5)
SMALL = 9.5
# One line's height as a share of its type size; theatre.css has the same.
LEADING = 1.14
# What a box to tick takes with the spaces round it, in mm.
TICK = 7.0

Item = Hashable
Side = TypeVar("Side")


@cache
def text_mm(text: str, points: float, width_mm: float, bold: bool = False) -> float:
    """The height of a paragraph of one weight."""
    return lines_mm(count_lines([(text, bold)], points, width_mm), points)


@cache
def runs_mm(runs: tuple[tuple[str, bool], ...], points: float, width_mm: float) -> float:
    """The height of a paragraph of texts run on, each bold or not."""
    return lines_mm(count_lines(runs, points, width_mm), points)


@cache
def boxes_mm(heading: str, items: tuple[str, ...], rest: str, points: float, width_mm: float) -> float:
    """The height of a heading with items to tick run on after it, each whole on a line where one holds it."""
    lines, used = 1, text_width_mm(heading, points, bold=True)
    for item in items:
        wide = TICK + text_width_mm(item, points, bold=True)
        if used + wide > width_mm:
            lines, used = lines + 1, 0.0
        if wide > width_mm:
            lines, wide = lines + count_lines([(item, True)], points, width_mm - TICK) - 1, width_mm
        used += wide
    # What follows the items begins where the last of them ends.
    for word in rest.split():
        wide = text_width_mm(f"{word} ", points, bold=False) + 0.25 * points * MM_A_POINT
        lines, used = (lines + 1, wide) if used + wide > width_mm else (lines, used + wide)
    return lines_mm(lines, points)


def lines_mm(lines: float, points: float) -> float:
    """The height of so many lines."""
    return lines * points * LEADING * MM_A_POINT


def filled(
    make: Callable[[frozenset[Item], float], Side],
    wanted: Sequence[Item],
    also: Sequence[Item],
    fits: Callable[[Side], bool],
) -> tuple[Side, bool]:
    """The side in the largest type that holds all that is wanted, else in the smallest as far as it holds, and whether
    that fits. `make` gives the side with the items chosen, at a type size."""
    whole = frozenset(wanted)
    holds = next((size for size in SIZES if fits(make(whole, size))), None)
    size = holds or SIZES[-1]
    first, left = (whole, also) if holds else (frozenset[Item](), (*wanted, *also))
    side = make(as_many_as_fit(left, lambda chosen: fits(make(chosen, size)), first), size)
    return side, fits(side)
