"""What the preparation says of single items; its template calls these as filters."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, TypeVar

from planner.assess.assessment import NotCounted
from planner.claims import Basis
from planner.documents.plan.step import gates_in_words
from planner.documents.printing.font_metrics import count_lines
from planner.plan.plan import PlannedChoice, PlannedDrug, PlannedStep
from planner.wording.words import lower_first, with_stop

POINTS = 9.5
# Millimetres of a line: of half the sheet's width, of what to do in a step, of its pauses (preparation.css).
HALF_MM, DO_MM, PAUSE_MM = 90, 102, 80
# How many lines of a long list stand together on one page.
TOGETHER = 18

T = TypeVar("T")


def halves(items: Iterable[T], *named: str, together: int = TOGETHER) -> list[tuple[list[T], list[T]]]:
    """A list as two columns of about one height, read down the left one first; a long list as several such pairs.

    `named` are the attributes whose text is printed of an item, its basis after them; without any, items are texts.
    `together` is how many lines a pair of columns may be high.
    """
    whole = list(items)
    heights = [_lines(_text(item, named), HALF_MM) for item in whole]
    parts = max(1, round(sum(heights) / (2 * together)))
    columns: list[list[T]] = [[] for _ in range(2 * parts)]
    share, used = sum(heights) / len(columns), 0
    for item, height in zip(whole, heights, strict=True):
        # The first of all stands on the left, however long it is.
        columns[min(int((used + height / 2) / share), len(columns) - 1) if used else 0].append(item)
        used += height
    return list(zip(columns[::2], columns[1::2], strict=True))


def _text(item: object, named: Iterable[str]) -> str:
    basis = getattr(item, "basis", None)
    texts = [item] if isinstance(item, str) else [getattr(item, name) or "" for name in named]
    return " ".join([*texts, _words(basis)] if basis else texts)


def _words(basis: Basis) -> str:
    return basis.place if basis.source else basis.words


def _lines(text: str, width_mm: float) -> int:
    return count_lines([(text, False)], POINTS, width_mm) if text else 0


def to_do(step: PlannedStep, chosen: Iterable[PlannedChoice]) -> list[str]:
    """The lines of a step, without those that say how a choice still open is prepared."""
    prepared = {choice.prepared_as for choice in chosen}
    return [line for line in step.do if line not in prepared]


def other_bars(drug: PlannedDrug) -> list[str]:
    """What a drug must not be given with, other than what it is withheld or waits for."""
    return [bar for bar in drug.contraindications if bar not in drug.reasons]


def room_for_why(step: PlannedStep, chosen: Iterable[PlannedChoice]) -> Literal["do", "pause", "below"]:
    """Where what to ask and why stand: beneath the shorter of what to do and the pauses if there is room, else below
    both, across the sheet."""
    do = sum(_lines(line, DO_MM) for line in step.do)
    pauses = sum(_lines(f"{pause.if_}: {pause.then}", PAUSE_MM) for pause in step.pause_if)
    handed = step.hand_over_if if step.who == "trainee" else ()
    pauses += sum(_lines(" ".join(lines), PAUSE_MM) for lines in (step.watch, handed))
    reasons = (f"Why {choice.label} {choice.way.why} {_words(choice.way.basis)}" for choice in chosen)
    why = " ".join(("Ask", *step.think, "Done when", step.done_well, *reasons))
    if pauses + _lines(why, PAUSE_MM) <= do:
        return "pause"
    return "do" if do + _lines(why, DO_MM) <= pauses else "below"


def may_be_found(items: Iterable[NotCounted]) -> str:
    """What the model does not count and nobody has looked for, by name."""
    return ", ".join(lower_first(item.label) for item in items if not item.certain)


FILTERS = (
    lower_first,
    with_stop,
    halves,
    gates_in_words,
    to_do,
    other_bars,
    room_for_why,
    may_be_found,
)
