"""Exact least and most of a total over the allowed completions of a case.

A completion gives every missing finding a decisive value (see `compiled.decisive`), except those that do not
apply, and makes no impossible pair hold. Kleene bounds are the fast outer bound; the search is best-first branch and
bound: guess the completion that the bound hopes for, and where it falls short split on a finding that explains why.
Values of missing findings that decide nothing are left alone, so the work grows with disagreement, not with blanks.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from planner.assess.compiled import Bounds, Compiled, EyeTruths, Truths, Values
from planner.assess.odds import logit
from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test
from planner.harm import harm
from planner.truth import Truth

NODES_AT_MOST = 20_000
REMEMBERED_AT_MOST = 50_000


@dataclass(frozen=True)
class Objective:
    """A number sought: its bounds, what it can depend on, and the core conditions (or the one) that explain it."""

    key: str
    findings: frozenset[int]
    names: tuple[str, ...]
    condition: Condition | None
    bounds: Callable[[Values, Truths, Bounds], tuple[float, float]]


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


@dataclass(frozen=True, eq=False)
class Extreme:
    """An extreme value and a completion that shows it; where not `proved`, a bound and the best completion met."""

    value: float
    completion: Values
    proved: bool = True


class Completions:
    """Searches completions of cases under one compiled rulebook; remembers what it has found."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self.pairs = [name for name in compiled.core_names if name.startswith("impossible:")]
        self.pair_places = [compiled.place[name] for name in self.pairs]
        self._known: dict[Any, Extreme | None] = {}
        self._favoured: dict[tuple[str, bool], Values] = {}
        self._scope: dict[str, tuple[int, ...]] = {}
        self._tests: dict[int, tuple[Condition, Callable[[Values], Truth]]] = {}

    def scope(self, objective: Objective) -> tuple[int, ...]:
        """The findings, as places, that can matter: the objective's, and those an impossible pair ties to them."""
        if objective.key not in self._scope:
            places = set(objective.findings)
            for _ in self.pairs:
                for name in self.pairs:
                    tied = self.compiled.depends[name]
                    if tied & places:
                        places |= tied
            # Findings that are always asked come first, so that those which hang on them can be judged after.
            self._scope[objective.key] = tuple(sorted(places, key=lambda place: (self.compiled.depth(place), place)))
        return self._scope[objective.key]

    def extreme(
        self, values: Values, objective: Objective, highest: bool, wider: Extreme | None = None
    ) -> Extreme | None:
        """The highest (or lowest) value over allowed completions, None for none; `wider`'s own is tried first."""
        scope = self.scope(objective)
        key = (objective.key, highest, tuple([values[place] for place in scope]), wider)
        if key not in self._known:
            if len(self._known) > REMEMBERED_AT_MOST:
                self._known.clear()
            near = wider and self._near(values, objective, wider, scope)
            self._known[key] = near or self._search(values, objective, highest, scope)
        extreme = self._known[key]
        if extreme is None:
            return None
        # Found for a case that is the same in scope: with this case's own values of all else.
        completion = values.copy()
        for place in scope:
            completion[place] = extreme.completion[place]
        return extreme if completion == extreme.completion else replace(extreme, completion=completion)

    def _near(self, values: Values, objective: Objective, wider: Extreme, scope: tuple[int, ...]) -> Extreme | None:
        """The wider case's completion with these values written in, where it is allowed and still as extreme."""
        guess = self.complete(values, wider.completion, scope)
        if guess == wider.completion:
            return wider
        truths, bounds = self.compiled.core(guess)
        # A pair that is merely unknown is not good enough here: what newly applies has been left missing.
        if any(truths[place] is not False for place in self.pair_places):
            return None
        low, high = objective.bounds(guess, truths, bounds)
        return Extreme(low, guess) if low == high == wider.value else None

    def _search(self, values: Values, objective: Objective, highest: bool, scope: tuple[int, ...]) -> Extreme | None:
        end, sign = (1, -1.0) if highest else (0, 1.0)
        core, bounds_of, favoured = self.compiled.core, objective.bounds, self._favour(objective, highest, scope)
        best: Extreme | None = None
        order = itertools.count(0, -1)  # among equals the newest first, so that a promise is followed to its end
        truths, bounds = core(values)
        heap = [(sign * bounds_of(values, truths, bounds)[end], next(order), values, truths)]
        for searched in itertools.count():
            if not heap:
                break
            if searched >= NODES_AT_MOST and (best is None or heap[0][0] < sign * best.value):
                completion = best.completion if best is not None else self.complete(values, favoured, scope)
                return Extreme(sign * heap[0][0], completion, proved=False)
            promised, _, node, truths = heapq.heappop(heap)
            if best is not None and promised >= sign * best.value:
                break
            guess = self.complete(node, favoured, scope)
            guess_truths, guess_bounds = core(guess)
            allowed = not any(guess_truths[place] for place in self.pair_places)
            if allowed:
                low, high = bounds_of(guess, guess_truths, guess_bounds)
                reached = high if highest else low
                if low == high and (best is None or sign * reached < sign * best.value):
                    best = Extreme(reached, guess)
                if low == high and sign * reached <= promised:
                    break
            split = self._split(node, truths, guess_truths, objective, highest, scope, allowed)
            if split is None:
                continue
            # The favoured cell last, so that it is taken up first.
            for cell in sorted(self.compiled.cells[split], key=lambda cell: bool(cell == favoured[split])):
                child = node.copy()
                child[split] = cell
                child_truths, child_bounds = core(child)
                if any(child_truths[place] for place in self.pair_places):
                    continue
                heapq.heappush(
                    heap, (sign * bounds_of(child, child_truths, child_bounds)[end], next(order), child, child_truths)
                )
        return best

    def complete(self, values: Values, favoured: Values, scope: tuple[int, ...]) -> Values:
        """A copy with every missing finding in scope given its favoured value, unless it does not apply."""
        result = values.copy()
        asked = self.compiled.asked_tests
        for place in scope:
            if result[place] is None and (place not in asked or asked[place](result)):
                result[place] = favoured[place]
        return result

    def _favour(self, objective: Objective, highest: bool, scope: tuple[int, ...]) -> Values:
        """For each finding in scope the value that by itself goes furthest; made once."""
        if (objective.key, highest) in self._favoured:
            return self._favoured[(objective.key, highest)]
        findings = self.compiled.rulebook.vocabulary.findings
        empty: Values = [None] * len(findings)
        favoured = empty.copy()
        for place in scope:
            ranked = []
            for rank, cell in enumerate(self.compiled.cells[place]):
                trial = empty.copy()
                trial[place] = cell
                truths, bounds = self.compiled.core(trial)
                low, high = objective.bounds(trial, truths, bounds)
                # Where the number itself cannot tell two cells apart, what they add to any total does.
                adds, badness = sum(least for least, _ in bounds), harm(findings[place], cell)
                order = (-low, -high, -adds, -badness, rank) if highest else (high, low, adds, badness, rank)
                ranked.append((order, cell))
            if ranked:
                favoured[place] = min(ranked, key=lambda pair: pair[0])[1]
        self._favoured[(objective.key, highest)] = favoured
        return favoured

    def _split(
        self,
        node: Values,
        truths: Truths,
        guessed: Truths,
        objective: Objective,
        highest: bool,
        scope: tuple[int, ...],
        allowed: bool,
    ) -> int | None:
        """A missing finding to split on: one behind a forbidden pair, or behind a hope that the guess let down."""
        place = self.compiled.place
        if not allowed:
            for name in self.pairs:
                if guessed[place[name]] and (split := self._behind(self.compiled.conditions[name], node)) is not None:
                    return split
        if objective.condition is not None and (split := self._behind(objective.condition, node)) is not None:
            return split
        for name in objective.names:
            let_down = truths[place[name]] is None and guessed[place[name]] is not highest
            if let_down and (split := self._behind(self.compiled.conditions[name], node)) is not None:
                return split
        return self._missing(node, frozenset(scope))

    def plain(self, values: Values, leave: frozenset[int] = frozenset()) -> Values | None:
        """The completion in which every missing finding takes its plain value, except those in `leave`.

        Where an impossible pair would hold, a finding that was filled in takes its mildest value that undoes it. None
        when no such value is found. What is not asked, and what no plain eye has by itself, stays missing.
        """
        mended: dict[int, Any] = {}
        for _ in range(len(self.pairs) + 1):
            node = self._plainly(values, leave, mended)
            truths, _ = self.compiled.core(node)
            met = [name for name in self.pairs if truths[self.compiled.place[name]]]
            if not met:
                return node
            mend = self._mend(node, values, met[0], mended)
            if mend is None:
                return None
            mended[mend[0]] = mend[1]
        return None

    def _plainly(self, values: Values, leave: frozenset[int], mended: dict[int, Any]) -> Values:
        node, findings = values.copy(), self.compiled.rulebook.vocabulary.findings
        for place in self.compiled.by_depth:
            if node[place] is None and place not in leave and self.compiled.applies(place, node) is True:
                node[place] = mended.get(place, findings[place].plain_value)
        return node

    def _mend(self, node: Values, values: Values, pair: str, mended: dict[int, Any]) -> tuple[int, Any] | None:
        """A finding that was filled in, and its mildest value with which neither this pair nor one more holds."""
        truths, _ = self.compiled.core(node)
        before = sum(truths[place] is True for place in self.pair_places)
        for place in sorted(self.compiled.depends[pair]):
            if values[place] is not None or node[place] is None or place in mended:
                continue
            for cell in self.compiled.cells[place]:
                trial = node.copy()
                trial[place] = cell
                after, _ = self.compiled.core(trial)
                if sum(after[other] is True for other in self.pair_places) < before:
                    return place, cell
        return None

    def open_in(self, condition: Condition, node: Values) -> Iterator[int]:
        """Each missing finding that leaves a condition open here; what decides whether one applies stands for it."""
        if self._truth(condition, node) is not None:
            return
        match condition:
            case Test(finding):
                missing = self._missing(node, self.compiled.depends_of_finding[finding])
                if missing is not None:
                    yield missing
            case FactorHolds() | OptionWins():
                yield from self.open_in(self.compiled.rulebook.behind(condition), node)
            case Not(part):
                yield from self.open_in(part, node)
            case All(parts) | Any_(parts) | NumberOf(parts):
                for part in parts:
                    yield from self.open_in(part, node)

    def _behind(self, condition: Condition, node: Values) -> int | None:
        """A missing finding that leaves a condition open at this node; None when the condition is decided."""
        return next(self.open_in(condition, node), None)

    def _truth(self, condition: Condition, node: Values) -> Truth:
        if id(condition) not in self._tests:
            # The condition is kept beside its function, so that its identity is not taken by another.
            self._tests[id(condition)] = (condition, self.compiled.function_of(condition))
        return self._tests[id(condition)][1](node)

    def _missing(self, node: Values, places: frozenset[int]) -> int | None:
        asked = self.compiled.asked_tests
        for place in sorted(places, key=lambda p: (p in asked, p)):
            if node[place] is None and self.compiled.cells[place] and (place not in asked or asked[place](node)):
                return place
        return None
