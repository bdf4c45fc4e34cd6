"""Which missing findings would settle the tier: alone, or as the smallest set that does."""

from __future__ import annotations

from planner.assess.compiled import Compiled, Values
from planner.assess.completions import Completions, Found, Objective

LARGEST_SET = 6


class Settling:
    """Judges sets of missing findings: a set settles when, whatever its values turn out to be, one tier remains."""

    def __init__(self, compiled: Compiled, completions: Completions, tier: Objective, values: Values) -> None:
        self.compiled = compiled
        self.completions = completions
        self.tier = tier
        self.values = values
        asked = compiled.asked_tests
        self.candidates = [
            place
            for place in completions.scope(tier)
            if values[place] is None
            and compiled.cells[place]
            and not (place in asked and asked[place](values) is False)
        ]

    def alone(self) -> list[int]:
        """Findings that settle the tier each by itself."""
        return [place for place in self.candidates if self.disagreement((place,)) is None]

    def smallest(self) -> tuple[int, ...]:
        """The smallest set that settles the tier, () when more than LARGEST_SET findings would be needed.

        Grown by counter-example: each pair of completions that agree on the set but differ in tier must differ in a
        finding outside it; the next set is the smallest that meets all such differences, so the first that settles is
        smallest.
        """
        differences: list[frozenset[int]] = []
        while True:
            chosen = _smallest_hitting(differences, LARGEST_SET)
            if chosen is None:
                return ()
            pair = self.disagreement(chosen)
            if pair is None:
                return tuple(sorted(chosen))
            differences.append(self._narrowed(*pair, frozenset(chosen)))

    def disagreement(self, places: tuple[int, ...]) -> tuple[Values, Values] | None:
        """Two completions that agree on `places` and differ in tier; None when there are none."""
        return self._search(self.values, places)

    def _search(self, node: Values, places: tuple[int, ...]) -> tuple[Values, Values] | None:
        high = self.completions.extreme(node, self.tier, highest=True)
        low = self.completions.extreme(node, self.tier, highest=False)
        if high is None or low is None or high.value == low.value:
            return None  # one tier, whatever the rest turns out to be
        if not places:
            return high.completion, low.completion
        place, rest = places[0], places[1:]
        asked = self.compiled.asked_tests
        if place in asked and asked[place](node) is False:
            return self._search(node, rest)
        for cell in self.compiled.cells[place]:
            child = node.copy()
            child[place] = cell
            found = self._search(child, rest)
            if found is not None:
                return found
        return None

    def _narrowed(self, high: Values, low: Values, chosen: frozenset[int]) -> frozenset[int]:
        """Fewer differences between two completions, the tiers still differing."""
        low = low.copy()
        level = self._tier(high)
        for place in self.candidates:
            if place in chosen or low[place] == high[place]:
                continue
            kept, low[place] = low[place], high[place]
            if not self._allowed(low) or self._tier(low) == level:
                low[place] = kept
        return frozenset(place for place in self.candidates if low[place] != high[place] and place not in chosen)

    def _tier(self, completion: Values) -> float:
        truths, bounds = self.compiled.core(completion)
        low, high = self.tier.bounds(completion, truths, bounds)
        return high if low == high else -1.0

    def _allowed(self, completion: Values) -> bool:
        truths, _ = self.compiled.core(completion)
        return not any(truths[place] for place in self.completions.pair_places) and self._tier(completion) > 0

    def worth(self, place: int, working: float) -> tuple[float, float]:
        """How decisive one finding is: (tiers it could take off the working tier, tiers it alone could demand)."""
        mildest = min(
            (
                found.value
                for cell in self.compiled.cells[place]
                if (found := self._with(place, cell, highest=True)) is not None
            ),
            default=working,
        )
        gravest = max(
            (
                found.value
                for cell in self.compiled.cells[place]
                if (found := self._with(place, cell, highest=False)) is not None
            ),
            default=0.0,
        )
        return working - mildest, gravest

    def _with(self, place: int, cell: object, highest: bool) -> Found | None:
        node = self.values.copy()
        node[place] = cell
        return self.completions.extreme(node, self.tier, highest)


def _smallest_hitting(sets: list[frozenset[int]], largest: int) -> tuple[int, ...] | None:
    """The smallest set that meets every given set, first in order among equals; None when it needs more than `largest`."""
    for size in range(largest + 1):
        found = _hitting(sets, size)
        if found is not None:
            return found
    return None


def _hitting(sets: list[frozenset[int]], size: int) -> tuple[int, ...] | None:
    if not sets:
        return ()
    if size == 0:
        return None
    for item in sorted(sorted(sets, key=lambda s: len(s))[0]):
        found = _hitting([s for s in sets if item not in s], size - 1)
        if found is not None:
            return (item, *found)
    return None
