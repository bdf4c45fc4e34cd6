"""Points, log odds, tier and supervision of a symbolic case, as the engine adds them up.

Of members that count once the heaviest counts; floors and raises count by the greatest. The odds are rounded at the
twelfth decimal, a thousandth of the hair that the engine allows at a band's limit.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import z3

from planner.case import Stage
from planner.conditions import Condition, FactorHolds
from planner.rulebook.proof.symbols import Symbols
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, TIERS, Supervised

Group = list[tuple[Condition, float]]
HAIR = 1e-9


class Totals:
    """What a rulebook adds up, as groups of conditions with their weights, and its formulas for a symbolic case."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        factors = list(rulebook.factors.values())
        holds = {factor.id: FactorHolds(factor.id) for factor in factors}
        points = ((holds[f.id], f.points, f.counts_once_with or f.id) for f in factors)
        log_odds = (
            (level.when, math.log(level.odds_ratio), term.counts_once_with or term.id)
            for term in rulebook.odds.terms
            for level in term.levels
        )
        self.sums = {"points": _grouped(points), "log odds": _grouped(log_odds)}
        self.floors: Group = [(holds[f.id], f.floor.tier) for f in factors if f.floor]
        self.raises: Group = [(rise.when, rise.tiers) for rise in rulebook.interactions.raises]
        consultant = next(o for o in rulebook.odds.operators if o.id == "consultant")
        base = _logit(rulebook.odds.baseline.probability) + math.log(consultant.odds_ratio)
        tiers = rulebook.tiers
        self.points_bands = [(band.at_least, band.tier) for band in tiers.points_bands]
        bands = [(band.at_least, band.tier) for band in tiers.probability_bands if band.at_least > 0]
        self.odds_bands = [(_logit(limit) - base - HAIR, tier) for limit, tier in bands]

    def total(self, case: Symbols, groups: Sequence[Group]) -> Formula:
        """The sum over groups of the heaviest member that holds."""
        parts = []
        for group in groups:
            lighter = 0.0
            for weight in sorted({weight for _, weight in group if weight}):
                heavy = z3.Or([case.holds(condition) for condition, other in group if other >= weight])
                parts.append(z3.If(heavy, _number(weight - lighter), _number(0)))
                lighter = weight
        return z3.Sum(parts) if parts else _number(0)

    def floor_at_least(self, case: Symbols, tier: int) -> Formula:
        return z3.Or([case.holds(condition) for condition, floor in self.floors if floor >= tier])

    def raise_at_least(self, case: Symbols, tiers: int) -> Formula:
        return z3.Or([case.holds(condition) for condition, rise in self.raises if rise >= tiers])

    def tier_at_least(self, case: Symbols) -> dict[int, Formula]:
        """For each tier, that the case reaches it."""
        points, log_odds = (self.total(case, groups) for groups in self.sums.values())

        def base(tier: int) -> Formula:
            if tier <= 1:
                return z3.BoolVal(True)
            reached = [points >= _number(limit) for limit, band in self.points_bands if band >= tier]
            reached += [log_odds >= _number(limit) for limit, band in self.odds_bands if band >= tier]
            return z3.Or([*reached, self.floor_at_least(case, tier)])

        risen = [z3.BoolVal(True), *(self.raise_at_least(case, tiers) for tiers in (1, 2, 3))]
        return {
            tier: z3.Or([z3.And(base(tier - more), risen[more]) for more in range(min(tier, len(risen)))])
            for tier in TIERS
        }

    def supervision(self, case: Symbols, stage: Stage) -> list[tuple[SupervisionCell, Formula]]:
        """Every cell of what decides supervision for a stage, with that the case falls in it."""
        reached = self.tier_at_least(case)
        operator = next((o for o in self.rulebook.odds.operators if o.id == stage), None)
        limits = closer_limits(self.rulebook, stage)
        own = _logit(self.rulebook.odds.baseline.probability) + math.log(operator.odds_ratio if operator else 1)
        log_odds = self.total(case, self.sums["log odds"])
        over = [log_odds >= _number(_logit(limit) - own) if limit > 0 else z3.BoolVal(True) for limit in limits]
        holding = [case.holds(override.when) for override in self.rulebook.supervision.overrides]
        formulas = []
        for cell in cells(self.rulebook, stage):
            parts = [reached[cell.tier], *(z3.Not(reached[tier]) for tier in TIERS if tier > cell.tier)]
            parts += [passed if n < cell.limits_reached else z3.Not(passed) for n, passed in enumerate(over)]
            parts += [holds if n in cell.overrides else z3.Not(holds) for n, holds in enumerate(holding)]
            formulas.append((cell, z3.And(parts)))
        return formulas


@dataclass(frozen=True)
class SupervisionCell:
    """All that a stage's supervision turns on, and what it comes to."""

    tier: int
    limits_reached: int
    overrides: frozenset[int]
    supervised: Supervised

    @property
    def words(self) -> str:
        return f"{self.supervised.mode} by the {self.supervised.by}"


def closer_limits(rulebook: Rulebook, stage: Stage) -> list[float]:
    """The operator's own probabilities at which the supervisor comes closer, rising; none without published odds."""
    if not any(operator.id == stage for operator in rulebook.odds.operators):
        return []
    return sorted({closer.operator_probability_at_least for closer in rulebook.supervision.closer})


def cells(rulebook: Rulebook, stage: Stage) -> Iterator[SupervisionCell]:
    """Every tier, number of limits the operator's probability reaches, and set of overrides that may hold."""
    supervision, limits = rulebook.supervision, closer_limits(rulebook, stage)
    places = range(len(supervision.overrides))
    sets = [frozenset(some) for size in range(len(places) + 1) for some in itertools.combinations(places, size)]
    for tier, reached, holding in itertools.product(TIERS, range(len(limits) + 1), sets):
        chosen = supervision.matrix[tier][stage]
        for closer in supervision.closer:
            if closer.operator_probability_at_least in limits[:reached]:
                chosen = chosen.brought_to(closer.supervised)
        for place, override in enumerate(supervision.overrides):
            # One that brings nobody closer is passed over by the engine, whoever it names.
            if place in holding and MODES.index(override.mode) > MODES.index(chosen.mode):
                chosen = chosen.brought_to(override.supervised)
        yield SupervisionCell(tier, reached, holding, chosen)


def _grouped(members: Iterable[tuple[Condition, float, str]]) -> list[Group]:
    groups: dict[str, Group] = {}
    for condition, weight, group in members:
        if weight:
            groups.setdefault(group, []).append((condition, weight))
    return list(groups.values())


def _logit(probability: float) -> float:
    return math.log(probability / (1 - probability))


def _number(value: float) -> Formula:
    return z3.RealVal(f"{value:.12f}")
