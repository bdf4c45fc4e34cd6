"""The published odds model: probabilities by operator, what it does not count, and re-centring on a unit's audit."""

from __future__ import annotations

import math
from functools import lru_cache

from planner.assess.assessment import NotCounted, OperatorProbability, Probability, Range, Recentred
from planner.assess.compiled import Compiled, Truths
from planner.rulebook.shapes import Era, OddsModel
from planner.unit import Audit, Unit

# Log odds are pooled on a grid before averaging over the assumed mix, each divided between the two nearest places so
# that its mean is kept; the error in a mean rate is below 1e-6.
_GRID = 0.002
STEPS_AT_MOST = 200
Shares = tuple[tuple[tuple[float, float], ...], ...]


def logit(probability: float) -> float:
    return math.log(probability / (1 - probability))


def probability_of(log_odds: float) -> float:
    """Probability of log odds: odds / (1 + odds)."""
    return 1 / (1 + math.exp(-log_odds))


def probability(compiled: Compiled, truths: Truths, log_odds: Range, unit: Unit | None) -> Probability:
    """Probability of the model's outcome by operator, on record and over allowed completions."""
    model = compiled.rulebook.odds
    recentred = recentre(model, unit.audit, model.era(unit.era)) if unit is not None else None
    baseline = recentred.baseline if recentred else model.baseline.probability
    base = logit(baseline)
    by_operator: dict[str, OperatorProbability] = {}
    for operator in model.operators:
        own = base + math.log(operator.odds_ratio)
        ends = probability_of(own + log_odds.least), probability_of(own + log_odds.most)
        plain = None if log_odds.on_record is None else probability_of(own + log_odds.on_record)
        by_operator[operator.id] = OperatorProbability(operator.id, operator.published_grade, *ends, plain)
    not_counted = []
    for blind in model.blind_to:
        truth = truths[compiled.place[f"factor:{blind.factor}"]]
        if truth is not False:
            factor = compiled.rulebook.factors[blind.factor]
            not_counted.append(NotCounted(factor.id, factor.label, truth is True, tuple(factor.published_rates)))
    return Probability(model, baseline, by_operator, tuple(not_counted), recentred)


def recentre(model: OddsModel, audit: Audit | None, era: Era | None = None) -> Recentred | None:
    """The baseline at which the model's mean over the assumed mix equals the rate of the era or the unit.

    None where neither is given. An audit is shrunk towards the published rate, the era's where one is chosen. Only the
    intercept moves.
    """
    if audit is None and era is None:
        return None
    target = era.rate if era is not None else model.baseline.overall_rate
    weight = 0.0
    if audit is not None:
        target, weight = shrunk(target, audit.events, audit.cases, model.unit_spread)
    now, was = (logit(baseline_for_rate(model, rate)) for rate in (target, model.baseline.overall_rate))
    # The published baseline and the assumed mix need not agree exactly; only the shift between rates is taken over.
    baseline = probability_of(logit(model.baseline.probability) + now - was)
    if audit is None:
        return Recentred(0, 0, weight, baseline, era)
    return Recentred(audit.events, audit.cases, weight, baseline, era, audit.period)


def shrunk(published: float, events: int, cases: int, spread: float) -> tuple[float, float]:
    """The unit's rate shrunk towards the published one, and the weight of its own events.

    The ratio of observed to expected events has a gamma prior of mean 1 and coefficient of variation `spread`:
    (observed + a) / (expected + a) with a = 1 / spread squared.
    """
    expected, prior = published * cases, 1 / spread**2
    rate = published * (events + prior) / (expected + prior)
    return min(rate, 1 - 1e-9), expected / (expected + prior)


def baseline_for_rate(model: OddsModel, rate: float) -> float:
    """The baseline probability at which the mean probability over the assumed case mix is `rate`."""
    terms = [tuple((level.odds_ratio, level.share or 0.0) for level in term.levels) for term in model.terms]
    operators = tuple((operator.odds_ratio, operator.share or 0.0) for operator in model.operators)
    return _baseline((*terms, operators), rate)


@lru_cache(maxsize=64)
def _baseline(shares: Shares, rate: float) -> float:
    mix = _mix(shares)
    baseline = logit(rate)
    # The mean's log odds rise with the baseline's, and never faster: a step by what they fall short never overshoots.
    # Bounded, because next to a rate of 1 rounding alone keeps a step above the tolerance.
    for _ in range(STEPS_AT_MOST):
        short = logit(rate) - logit(sum(weight * probability_of(baseline + log_odds) for log_odds, weight in mix))
        baseline += short
        if abs(short) < 1e-9:
            break
    return probability_of(baseline)


def _mix(shares: Shares) -> tuple[tuple[float, float], ...]:
    """The distribution of log odds over a mix of independent terms: (log odds, weight); what no level takes is 1.0."""
    pooled = {0: 1.0}
    for levels in shares:
        steps = [(0, 1.0 - sum(share for _, share in levels))]
        for odds_ratio, share in levels:
            place = math.log(odds_ratio) / _GRID
            below = math.floor(place)
            steps += [(below, share * (below + 1 - place)), (below + 1, share * (place - below))]
        spread: dict[int, float] = {}
        for place_before, weight in pooled.items():
            for shift, share in steps:
                if share > 0:
                    place_after = place_before + shift
                    spread[place_after] = spread.get(place_after, 0.0) + weight * share
        pooled = spread
    return tuple((place * _GRID, weight) for place, weight in sorted(pooled.items()))
