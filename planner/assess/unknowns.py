"""Which missing findings would settle the tier: alone, or as the smallest set that does."""

from __future__ import annotations

from planner.assess.compiled import Compiled, Values
from planner.assess.completions import Completions, Extreme, Objective

LARGEST_SET = 6
# Beyond this the findings that matter are many and alike; the list, most decisive first, says more than a set would.
DIFFERENCES_AT_MOST = 40


class Settling:
    """Judges sets of missing findings: a set settles when, whatever its values turn out to be, one tier remains."""

    def __init__(self, compiled: Compiled, completions: Completions, tier: Objective, values: Values) -> None:
        self.compiled = compiled
        self.completions = completions
        self.tier = tier
        self.values = values
        self.low = completions.extreme(values, tier, highest=False)
        self.high = completions.extreme(values, tier, highest=True)
        self.candidates = [
            place
            for place in completions.scope(tier)
            if values[place] is None and compiled.cells[place] and compiled.applies(place, values) is not False
        ]

    def closed(self, place: int) -> frozenset[int]:
        """The finding with the missing ones that decide whether it applies: it cannot be recorded before them."""
        behind = {other for other in self.compiled.depends_of_asked(place) if self.values[other] is None}
        return frozenset({place}).union(*(self.closed(other) for other in behind))

    def alone(self) -> list[int]:
        """Findings that settle the tier each by itself."""
        return [p for p in self.candidates if self.closed(p) == {p} and self.disagreement((p,)) is None]

    def smallest(self) -> tuple[int, ...]:
        """The smallest set that settles the tier, () when more than LARGEST_SET findings would be needed.

        Grown by counter-example: each pair of completions that agree on the set but differ in tier must differ in a
        finding outside it; the next set is the smallest that meets all such differences, so the first that settles is
        smallest.
        """
        needed = self._needed()
        if len(needed) > LARGEST_SET:
            return ()
        differences = [frozenset({place}) for place in sorted(needed)]
        for _ in range(DIFFERENCES_AT_MOST):
            sized = (self._hitting(differences, frozenset(), size) for size in range(LARGEST_SET + 1))
            chosen = next((hitting for hitting in sized if hitting is not None), None)
            if chosen is None:
                return ()
            # Parents before what hangs on them, so that whether a finding applies is known when its turn comes.
            ordered = tuple(sorted(chosen, key=lambda place: (len(self.closed(place)), place)))
            pair = self.disagreement(ordered)
            if pair is None:
                return tuple(sorted(chosen))
            differences.append(self._narrowed(*pair, chosen))
        return ()

    def _needed(self) -> frozenset[int]:
        """Findings in every settling set: each changes the tier alone, from the mildest or gravest completion."""
        needed = set()
        for end in (self.low, self.high):
            if end is None:
                continue
            for place in self.candidates:
                if end.completion[place] is None:
                    continue
                trial = end.completion.copy()
                for cell in self.compiled.cells[place]:
                    if cell == end.completion[place]:
                        continue
                    trial[place] = cell
                    if self._tier(trial) != end.value and self._allowed(trial):
                        needed.add(place)
                        break
        return frozenset(needed)

    def _hitting(self, differences: list[frozenset[int]], chosen: frozenset[int], size: int) -> frozenset[int] | None:
        """A closed set of at most `size` findings, those chosen among them, that meets every difference; or None."""
        open_ones = [difference for difference in differences if not difference & chosen]
        if not open_ones:
            return chosen
        for item in sorted(sorted(open_ones, key=lambda difference: len(difference))[0]):
            larger = chosen | self.closed(item)
            if len(larger) <= size and (hitting := self._hitting(open_ones, larger, size)) is not None:
                return hitting
        return None

    def disagreement(self, places: tuple[int, ...], node: Values | None = None) -> tuple[Values, Values] | None:
        """Two completions that agree on `places` and differ in tier; None when there are none."""
        node = self.values if node is None else node
        high, low = self._end(node, highest=True), self._end(node, highest=False)
        if high is None or low is None or high.value == low.value:
            return None  # one tier, whatever the rest turns out to be
        if not places:
            return high.completion, low.completion
        place, rest = places[0], places[1:]
        if self.compiled.applies(place, node) is False:
            return self.disagreement(rest, node)
        for cell in self.compiled.cells[place]:
            child = node.copy()
            child[place] = cell
            if (pair := self.disagreement(rest, child)) is not None:
                return pair
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
        ends = {
            highest: [end.value for cell in self.compiled.cells[place] if (end := self._with(place, cell, highest))]
            for highest in (True, False)
        }
        return working - min(ends[True], default=working), max(ends[False], default=0.0)

    def _with(self, place: int, cell: object, highest: bool) -> Extreme | None:
        node = self.values.copy()
        node[place] = cell
        return self._end(node, highest)

    def _end(self, node: Values, highest: bool) -> Extreme | None:
        return self.completions.extreme(node, self.tier, highest, wider=self.high if highest else self.low)
