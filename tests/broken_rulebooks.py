"""Breaking a copy of the shipped rules by one edit, and what is then found at which line."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from planner.rulebook.check import Report, check


class Broken(NamedTuple):
    """One edit of one file: the first `old` becomes `new`. The fault names the line where `at` ends, and has `words`.

    `at` is looked for in the new text, then upwards from it, then downwards.
    """

    file: str
    old: str
    new: str
    at: str
    words: tuple[str, ...]


CORNEA, LENS, ODDS, SCORE = (
    "factors/cornea.yaml",
    "factors/lens.yaml",
    "models/narendran-2009.yaml",
    "models/muhtaseb-2004.yaml",
)
LOW = "  - id: low-endothelial-count"
WHEN_LOW = "when: {finding: endothelial_cells_per_mm2, less_than: 1000}"
POINTS = "    points: 2\n"
AGE = "  - id: age_years"
WHITE = "when: {finding: opacity, is: total-white}"


def broken(rules: Path, edit: Broken) -> tuple[Report, str]:
    """What is found after the edit, and the `file:line` where it should be."""
    path = rules / edit.file
    text = path.read_text(encoding="utf-8")
    assert edit.old in text and edit.new != edit.old, "the edit changes nothing"
    start = text.index(edit.old)
    edited = text.replace(edit.old, edit.new, 1)
    path.write_text(edited, encoding="utf-8")
    end = start + len(edit.new)
    places = (edited.find(edit.at, start, end), edited.rfind(edit.at, 0, start), edited.find(edit.at, end))
    place = next(place for place in places if place >= 0)
    line = edited[: place + len(edit.at)].count("\n") + 1
    return check(rules), f"rules/{edit.file}:{line}"


def assert_it_does_not_load(rules: Path, edit: Broken) -> None:
    """The one fault stands at its line and has its words."""
    report, where = broken(rules, edit)
    assert report.rulebook is None
    assert [fault.where for fault in report.faults] == [where], "\n".join(map(str, report.faults))
    said = str(report.faults[0])
    assert all(word in said for word in edit.words), said


def lines(report: Report) -> list[str]:
    return [str(fault) for fault in report.faults]


def without(text: str, start: str, end: str) -> str:
    """The text with everything from `start` up to `end` taken out."""
    assert start in text and end in text[text.index(start) :]
    return text[: text.index(start)] + text[text.index(end, text.index(start)) :]
