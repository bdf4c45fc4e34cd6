"""Letters measured from the fonts' own files: how high at a type size, what an eye reads, lines that a text takes."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import cache
from math import radians, tan

from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from planner.documents.printing.fonts import FACES, fonts_folder

MM_A_POINT = 25.4 / 72
# A 6/6 letter subtends 5 minutes of arc, by the definition of visual acuity (ISO 8596, optotypes; from memory).
ARC_MINUTES_OF_A_LETTER = 5
WEIGHTS = {False: 400, True: 700}
_BREAK = re.compile(r"(?<=[^\W\d][-/])(?=[^\W\d])")


def smallest_letter_mm(distance_m: float) -> float:
    """The height of a letter that an eye of 6/6 just reads at a distance in metres."""
    return 1000 * distance_m * tan(radians(ARC_MINUTES_OF_A_LETTER / 60))


def capital_mm(points: float) -> float:
    """How high a capital of the lowest shipped face stands at a type size."""
    return points * _lowest("sCapHeight")


def small_letter_mm(points: float) -> float:
    """How high an x of the lowest shipped face stands at a type size."""
    return points * _lowest("sxHeight")


def points_for_capital(height_mm: float) -> float:
    """The type size whose capitals have that height."""
    return height_mm / capital_mm(1)


def text_width_mm(text: str, points: float, bold: bool) -> float:
    """How wide a text stands in one line of the text face."""
    words = text.split()
    return (sum(_width(word, bold) for word in words) + _width(" ", bold) * max(0, len(words) - 1)) * points


def count_lines(runs: Iterable[tuple[str, bool]], points: float, width_mm: float) -> int:
    """How many lines of that width the texts take, one run on after the other, each in bold or not; as in any
    setting a line may end at a space and after a hyphen or a slash before a letter."""
    lines, used = 1, 0.0
    for text, bold in runs:
        space = _width(" ", bold) * points
        for word in text.split():
            gap = space if used else 0.0
            for part in _parts(word):
                wide = _width(part, bold) * points
                if used and used + gap + wide > width_mm:
                    lines, used = lines + 1, 0.0
                else:
                    used += gap
                # A word longer than a line is broken where it must be.
                lines += int((used + wide) / width_mm) if wide > width_mm else 0
                used, gap = used + wide if wide <= width_mm else wide % width_mm, 0.0
    return lines


@cache
def _parts(word: str) -> tuple[str, ...]:
    return tuple(_BREAK.split(word))


def as_drawn(text: str) -> str:
    """The text with each letter that a shipped face lacks as its number in brackets, such as [U+6F22].

    What people type may hold any letter; one that has no shape is named, so that it neither goes missing nor stops
    the page. Spaces and line ends need no shape.
    """
    lacking = {letter for letter in set(text) if ord(letter) not in _drawn() and unicodedata.category(letter)[0] != "Z"}
    return text.translate({ord(letter): f"[U+{ord(letter):04X}]" for letter in lacking - set("\n\r\t")})


@cache
def _drawn() -> frozenset[int]:
    return frozenset.intersection(*(frozenset(face.getBestCmap()) for face in _faces().values()))


@cache
def _width(word: str, bold: bool) -> float:
    """Millimetres that a word of the text face takes at one point; pairs of letters are not drawn together."""
    face = _faces()["Plan Text", WEIGHTS[bold]]
    names, advances = face.getBestCmap(), face["hmtx"]
    units = sum(advances[names.get(ord(letter), ".notdef")][0] for letter in word)
    return float(units / _em(face) * MM_A_POINT)


@cache
def _lowest(height: str) -> float:
    """Millimetres at one point of a height that the fonts' OS/2 table gives."""
    return min(float(getattr(face["OS/2"], height)) / _em(face) for face in _faces().values()) * MM_A_POINT


@cache
def _faces() -> dict[tuple[str, int], TTFont]:
    return {(family, weight): TTFont(fonts_folder() / name) for family, weight, name in FACES}


def _em(face: TTFont) -> int:
    return int(face["head"].unitsPerEm)
