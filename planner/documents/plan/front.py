"""The first side: the first of each list, as many as it holds; a list cut short prints whole at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import ceil
from typing import Generic, TypeVar

from planner.assess.assessment import FactorState, Lever, NeededLook
from planner.documents.plan.view import PlanView
from planner.documents.plan.words import few, takes
from planner.wording.reasons import SettleReason
from planner.wording.words import as_sentence, lower_first

# Characters that a line holds, across the sheet and beside the drawing.
ACROSS = 105
COLUMN = 64

T = TypeVar("T")


@dataclass(frozen=True)
class FrontRoom:
    """Printed lines for each list of the first side, and whether the re-check strip stands at its foot."""

    to_settle: int
    missing: int
    decided: int
    beside: int  # for what decides, what to look at again, what to put right and what is found, together
    recheck: bool = False


# From the fullest to the barest; the last leaves an item or two of each list, and of what is missing where to look.
ROOMS = (
    FrontRoom(9, 7, 7, 14, recheck=True),
    FrontRoom(6, 5, 6, 9, recheck=True),
    FrontRoom(12, 10, 8, 16),
    FrontRoom(9, 7, 7, 12),
    FrontRoom(7, 5, 5, 10),
    FrontRoom(7, 3, 4, 7),
    FrontRoom(6, 2, 4, 6),
    FrontRoom(5, 3, 3, 5),
    FrontRoom(5, 2, 2, 4),
    FrontRoom(3, 2, 2, 3),
    FrontRoom(3, 0, 2, 3),
)
ALL = FrontRoom(10**6, 10**6, 10**6, 10**6)


@dataclass(frozen=True)
class FirstItems(Generic[T]):
    """The items that print on the first side, and how many more there are."""

    shown: tuple[T, ...]
    more: int

    @property
    def rest(self) -> str:
        """`and 9 more, at the end`; nothing when all are shown."""
        return f"and {self.more} more, at the end" if self.more else ""


@dataclass(frozen=True)
class Front:
    """The lists of the first side, each in its own order; how many were left out is in `FirstItems.more`."""

    reasons: FirstItems[SettleReason]
    decided: FirstItems[str]
    look_again: FirstItems[str]
    levers: FirstItems[Lever]
    factors: FirstItems[FactorState]
    looks: FirstItems[NeededLook]
    other_looks: str
    uncounted: str
    recheck: bool
    settles: bool

    @property
    def shortened(self) -> bool:
        """Whether anything was left out."""
        lists = (self.reasons, self.decided, self.look_again, self.levers, self.factors, self.looks)
        return any(each.more for each in lists)


def front(p: PlanView, room: FrontRoom = ALL) -> Front:
    """The lists of the first side as that room holds them; with `ALL` nothing is left out."""
    reasons, _ = first(p.to_settle, lambda r: f"{r.because} → {r.settled_by}", ACROSS, room.to_settle)
    looks, _ = first(p.looks, lambda k: f"{k.label}, {takes(k)}: {few(k.labels)}", ACROSS, room.missing)
    decided, used = first(p.decided_by, str, COLUMN, room.decided)
    left = room.beside - used
    look_again, used = first(p.queries, str, COLUMN, left // 2)
    left -= used
    levers, used = first(
        p.assessment.levers, lambda v: f"{v.label} to {v.to}: {v.how} → tier {v.tier}", COLUMN, left // 2
    )
    left -= used
    factors, _ = first(p.factors, lambda f: f"{f.label} {f.because} {f.counts}", COLUMN, left)
    uncounted = p.risk.uncounted if room is ALL else p.risk.uncounted_first
    if not room.missing:
        looks = FirstItems((), len(p.looks))
    return Front(
        reasons, decided, look_again, levers, factors, looks, _named(p.looks, len(looks.shown)),
        uncounted, room.recheck, settles=room.missing > 3,
    )  # fmt: skip


def _named(looks: tuple[NeededLook, ...], shown: int) -> str:
    """The sittings after the first so many, by name and time alone: what is looked for at each stands at the end."""
    names = "; ".join(f"{lower_first(look.label)}, {takes(look)}" for look in looks[shown:])
    if not names:
        return ""
    if shown:
        return f"Then {names}: see the end."
    return f"{as_sentence(names)}: see the end."


def front_that_fits(p: PlanView, fits: Callable[[Front], bool]) -> Front:
    """The fullest front that `fits`, the barest when none does."""
    # Two rooms may hold the same lists, and setting a side is the slow part.
    made = list(dict.fromkeys(front(p, room) for room in ROOMS))
    return next((each for each in made if fits(each)), front(p, ROOMS[-1]))


def first(items: Iterable[T], words: Callable[[T], str], width: int, room: int) -> tuple[FirstItems[T], int]:
    """As many items as fit `room` lines of `width` characters, one at least, and the lines that takes."""
    whole = tuple(items)
    heights = [ceil(len(words(item)) / width) for item in whole]
    if not whole or sum(heights) <= room:
        return FirstItems(whole, 0), sum(heights)
    count, used = 1, heights[0] + 1
    while count < len(whole) and used + heights[count] <= room:
        used += heights[count]
        count += 1
    return FirstItems(whole[:count], len(whole) - count), used
