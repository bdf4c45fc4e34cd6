"""The numbers whose range over completions is sought: points, log odds, published scores, tier, one condition."""

from __future__ import annotations

import math
from collections.abc import Sequence

from planner.assess.compiled import Bounds, Compiled, EyeTruths, Truths, Values
from planner.assess.completions import Objective
from planner.assess.odds import logit


class Objectives:
    """Built once for a compiled rulebook; `tier` uses the published baseline and the consultant's odds only."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        rulebook = compiled.rulebook
        place = {name: n for n, name in enumerate(compiled.totals)}
        self.places = place
        members = {
            total: tuple(compiled.core_names[p] for group in groups for p, _ in group)
            for total, groups in compiled.totals.items()
        }
        self.totals = {total: self._total(total, n, members[total]) for total, n in place.items()}
        points_bands = [(band.at_least, band.tier) for band in rulebook.tiers.points_bands]
        baseline = rulebook.odds.baseline.probability
        consultant = next(o for o in rulebook.odds.operators if o.id == "consultant").odds_ratio
        base = logit(baseline) + math.log(consultant)
        # A hair below the limit, so that a probability equal to it in exact arithmetic is not lost to rounding.
        logit_bands = [
            (logit(b.at_least) - base - 1e-9, b.tier) for b in rulebook.tiers.probability_bands if b.at_least > 0
        ]
        p, o, f, r = place["points"], place["log-odds"], place["floor"], place["raise"]

        def band(value: float, bands: Sequence[tuple[float, int]]) -> int:
            reached = 1
            for limit, tier in bands:
                if value >= limit and tier > reached:
                    reached = tier
            return reached

        def tier(points: float, log_odds: float, floor: float, rise: float) -> int:
            return min(4, max(band(points, points_bands), band(log_odds, logit_bands), int(floor), 1) + int(rise))

        def tier_bounds(values: Values, truths: Truths, bounds: Bounds) -> tuple[float, float]:
            low = tier(bounds[p][0], bounds[o][0], bounds[f][0], bounds[r][0])
            high = tier(bounds[p][1], bounds[o][1], bounds[f][1], bounds[r][1])
            return low, high

        self.points_bands, self.logit_bands, self.band = points_bands, logit_bands, band
        names = tuple(dict.fromkeys((*members["floor"], *members["raise"], *members["points"], *members["log-odds"])))
        findings = frozenset().union(*(compiled.depends[total] for total in ("points", "log-odds", "floor", "raise")))
        self.tier = Objective("tier", findings, names, None, tier_bounds)

    def _total(self, total: str, n: int, names: tuple[str, ...]) -> Objective:
        def bounds_of(_: Values, __: Truths, bounds: Bounds) -> tuple[float, float]:
            return bounds[n]

        return Objective(total, self.compiled.depends[total], names, None, bounds_of)

    def holds(self, name: str) -> Objective:
        """Whether a named condition holds in the end, as 0 or 1."""
        made = self.compiled

        def bounds(values: Values, truths: Truths, _: Bounds) -> tuple[float, float]:
            truth = EyeTruths(made, values, truths).truth(name)
            return (1.0, 1.0) if truth else (0.0, 0.0) if truth is False else (0.0, 1.0)

        return Objective(name, made.depends[name], (), made.conditions[name], bounds)
