"""How many more cases could have a place at the very most: what a longer search may gain, proved and in cases."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.objective import of_lists
from planner.lists.matching.search import solver
from planner.lists.week.instance import Lists

if TYPE_CHECKING:
    from planner.lists.matching.relaxation import Bound

LARGEST = 150_000  # places of all cases together, up to which the programme is solved in seconds
_ROUNDING = 1e-4  # of a case, by which the programme may end below its optimum


@dataclass(frozen=True)
class More:
    """Cases beyond those placed: in any lists, and in lists that are worth as much by the wishes."""

    at_all: int
    as_good: int

    @property
    def says(self) -> str:
        """In a sentence; not whether so many can be placed."""
        if not self.at_all:
            return "No lists place more cases."
        some = f"At most {self.at_all} more case{'s' if self.at_all > 1 else ''} could be placed"
        if self.as_good == self.at_all:
            return f"{some}."
        return f"{some}, and {f'at most {self.as_good}' if self.as_good else 'none'} in lists worth as much."


def most_more(alike: Alike, lists: Lists, bound: Bound | None = None) -> More | None:
    """No lists round what is kept place more than so many cases beyond these; None where there are too many to say.

    A case that may not stand even on an empty list never can; the solver's bound, where it is installed, knows of
    minutes, people and kit besides.
    """
    fixed, placed, installed = len(alike.kept.placed), len(lists.placings), solver()
    waiting = max(0, fixed + sum(map(bool, alike.waiting.values())) - placed)
    if installed is None or not waiting:
        return More(waiting, waiting)
    if alike.size > LARGEST:
        return None
    programme = bound or installed.bound(alike)

    def beyond(least: float) -> int:
        most = fixed + programme.most_placed(least)
        return max(0, min(waiting, math.floor(most + _ROUNDING) - placed)) if math.isfinite(most) else waiting

    at_all = beyond(-math.inf)
    return More(at_all, min(at_all, beyond(of_lists(alike.instance, lists) - _ROUNDING)))
