"""Worse is never better, and the plain eye attains the least: points, odds, tier and supervision never fall.

Two cases differ in one finding. Either the second has it worse, or the first has it at its plain value and the second
at any other. What hangs on the finding and does not apply in one of the two may be absent there.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import Literal

import z3

from planner.case import STAGES, Stage
from planner.rulebook.proof.example import differences
from planner.rulebook.proof.inquiry import Bench, Inquiry
from planner.rulebook.proof.report import Claim, CounterExample
from planner.rulebook.proof.symbols import Symbols
from planner.rulebook.proof.totals import SupervisionCell, cells
from planner.rulebook.proof.variables import Formula, is_so
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import TIERS
from planner.vocabulary import Finding

Relation = Literal["worse", "not plain"]


class CasePair:
    """A case and the same case with one finding worse; or with one finding at its plain value, and at another.

    What else is recorded stays as it is. A finding that applies in one of the two only may be absent in the other, at
    any value in the one; but where that is the plain eye, which loses it, at its plain value.
    """

    def __init__(self, bench: Bench, finding: Finding, relation: Relation = "worse") -> None:
        self.finding = finding
        self.before = bench.case
        known = bench.rulebook.vocabulary.by_id
        hanging = {name for name in known if name != finding.id and finding.id in bench.rulebook.reach_of(name)}
        self.after = Symbols(bench.rulebook, f"{relation}.{finding.id}", self.before, {finding.id, *hanging})
        both = self.before, self.after
        was, is_now = (case.variables[finding.id] for case in both)
        if finding.plain_value is None or relation == "worse":
            moved: list[Formula] = [is_now.worse_than(was)]
        else:
            moved = [was.equals(finding.plain_value), z3.Not(is_now.same_as(was))]
        self.relation: list[Formula] = [*self.after.allowed(), *moved, *(case.recorded[finding.id] for case in both)]
        self.relation += [self._hangs(name, relation) for name in sorted(hanging)]

    def _hangs(self, name: str, relation: Relation) -> Formula:
        before, after = self.before, self.after
        was, is_now = before.recorded[name], after.recorded[name]
        plain = before.rulebook.vocabulary.by_id[name].plain_value
        lost = [was, z3.Not(is_now), before.asked(name), z3.Not(after.asked(name))]
        if relation == "not plain" and plain is not None:
            lost.append(before.variables[name].equals(plain))
        return z3.Or(
            z3.And(was, is_now, after.variables[name].same_as(before.variables[name])),
            z3.And(z3.Not(was), is_now == after.asked(name)),
            z3.And(lost),
        )


class Worsening:
    """Examines points, odds, tier and supervision for every pair of one relation, sharing what is learnt of each."""

    def __init__(self, bench: Bench, relation: Relation = "worse") -> None:
        self.bench = bench
        self.relation = relation
        self.totals = bench.totals
        known = bench.rulebook.vocabulary.findings
        findings = directed(bench.rulebook) if relation == "worse" else [f for f in known if f.plain_value is not None]
        self.pairs = [CasePair(bench, finding, relation) for finding in findings]
        self._rises: dict[tuple[str, str], bool] = {}

    def points(self) -> Claim:
        inquiry = Inquiry(self.bench, "worse-points", "a finding made worse never lowers the points")
        for pair in self.pairs:
            if inquiry.find(pair.finding.id, *pair.relation) is None:
                where = self.bench.where("findings", pair.finding.id, "worse")
                inquiry.fail(f"{where}: no case lets {pair.finding.id} be made worse, so nothing is shown of it")
            self._total(inquiry, pair, "points")
        return inquiry.claim()

    def tier(self) -> Claim:
        inquiry = Inquiry(self.bench, "worse-tier", "a finding made worse never lowers the tier")
        for pair in self.pairs:
            self._tier(inquiry, pair)
        return inquiry.claim()

    def supervision(self) -> Claim:
        text = (
            "a finding made worse never loosens the supervision of any stage, nor has a trainer instead of a consultant"
        )
        inquiry = Inquiry(self.bench, "worse-supervision", text)
        for stage in STAGES:
            for pair in self.pairs:
                self._supervision(inquiry, pair, stage)
        return inquiry.claim()

    def least(self) -> Claim:
        text = (
            "the plain eye attains the least: a finding taken from its plain value to any other never lowers points, "
            "odds or tier, nor loosens the supervision of any stage"
        )
        inquiry = Inquiry(self.bench, "plain-least", text)
        for pair in self.pairs:
            for what in self.totals.sums:
                self._total(inquiry, pair, what)
            self._tier(inquiry, pair)
            for stage in STAGES:
                self._supervision(inquiry, pair, stage)
        return inquiry.claim()

    def _total(self, inquiry: Inquiry, pair: CasePair, what: str) -> None:
        def shown(case: Symbols, model: z3.ModelRef) -> str:
            total = model.eval(self.totals.total(case, self.totals.sums[what]), model_completion=True)
            return f"{float(total.as_fraction()):g}"

        if not inquiry.has_enough and not self._total_rises(inquiry, pair, what):
            self._refute(inquiry, pair, self._total_falls(pair, what), f"the {what}", shown)

    def _tier(self, inquiry: Inquiry, pair: CasePair) -> None:
        def shown(case: Symbols, model: z3.ModelRef) -> str:
            reached = self.totals.tier_at_least(case)
            return str(max(tier for tier in TIERS if is_so(model, reached[tier])))

        if not inquiry.has_enough and not self._tier_rises(inquiry, pair):
            was, now = (self.totals.tier_at_least(case) for case in (pair.before, pair.after))
            lower = z3.Or([z3.And(was[tier], z3.Not(now[tier])) for tier in TIERS])
            self._refute(inquiry, pair, lower, "the tier", shown)

    def _supervision(self, inquiry: Inquiry, pair: CasePair, stage: Stage) -> None:
        def shown(case: Symbols, model: z3.ModelRef) -> str:
            cells_of_stage = self.totals.supervision(case, stage)
            return next(cell.words for cell, holds in cells_of_stage if is_so(model, holds))

        if not inquiry.has_enough and not self._supervision_rises(inquiry, pair, stage):
            was, now = (self.totals.supervision(case, stage) for case in (pair.before, pair.after))
            self._refute(inquiry, pair, _looser(was, now), f"the supervision of the stage {stage}", shown)

    def _refute(self, inquiry: Inquiry, pair: CasePair, lower: Formula, what: str, shown: Callable[..., str]) -> None:
        """Keep the plainest pair for which something is lower, if there is one."""
        finding = pair.finding
        if inquiry.find(f"{what} by {finding.id}", *pair.relation, lower) is None:
            return
        (before, after), model = inquiry.plainest([pair.before, pair.after], *pair.relation, lower)
        moved = " to ".join(finding.shown(values[finding.id]) for values in (before, after))
        fell = " to ".join(shown(case, model) for case in (pair.before, pair.after))
        how = "made worse" if self.relation == "worse" else "taken from its plain value"
        says = f"{finding.id} {how}, {moved}, lowers {what} from {fell}"
        where = inquiry.bench.where("findings", finding.id, "worse" if self.relation == "worse" else "plain")
        then = differences(self.bench.rulebook, before, after)
        inquiry.against.append(CounterExample(f"{where}: {says}", inquiry.file(before, after), then))

    # What makes a tier or a supervision rise without looking at the whole: each of its parts does.

    def _supervision_rises(self, inquiry: Inquiry, pair: CasePair, stage: Stage) -> bool:
        overrides = [override.when for override in self.bench.rulebook.supervision.overrides]
        falls = [z3.And(pair.before.holds(when), z3.Not(pair.after.holds(when))) for when in overrides]
        table = first_looser(self.bench.rulebook, stage) is None
        return table and self._tier_rises(inquiry, pair) and self._never(inquiry, pair, "overrides", falls)

    def _tier_rises(self, inquiry: Inquiry, pair: CasePair) -> bool:
        totals, both = self.totals, (pair.before, pair.after)
        floors = [tuple(totals.floor_at_least(case, tier) for case in both) for tier in TIERS[1:]]
        raises = [tuple(totals.raise_at_least(case, tiers) for case in both) for tiers in (1, 2, 3)]
        return (
            all(self._total_rises(inquiry, pair, what) for what in totals.sums)
            and self._never(inquiry, pair, "floors", [z3.And(was, z3.Not(now)) for was, now in floors])
            and self._never(inquiry, pair, "raises", [z3.And(was, z3.Not(now)) for was, now in raises])
        )

    def _total_rises(self, inquiry: Inquiry, pair: CasePair, what: str) -> bool:
        return self._never(inquiry, pair, what, [self._total_falls(pair, what)])

    def _total_falls(self, pair: CasePair, what: str) -> Formula:
        """Only the groups that the finding can move are added up; the others are the same in both."""
        moved = [
            group for group in self.totals.sums[what] if any(pair.after.touches(condition) for condition, _ in group)
        ]
        return self.totals.total(pair.after, moved) < self.totals.total(pair.before, moved)

    def _never(self, inquiry: Inquiry, pair: CasePair, what: str, falls: Sequence[Formula]) -> bool:
        key = (pair.finding.id, what)
        if key not in self._rises:
            given_up = len(inquiry.undecided)
            falling = inquiry.find(f"{what} by {pair.finding.id}", *pair.relation, z3.Or(list(falls)))
            self._rises[key] = falling is None and len(inquiry.undecided) == given_up
            del inquiry.undecided[given_up:]  # the whole is looked at instead
        return self._rises[key]


def directed(rulebook: Rulebook) -> list[Finding]:
    return [finding for finding in rulebook.vocabulary.findings if finding.worse != "none"]


def first_looser(rulebook: Rulebook, stage: Stage) -> tuple[SupervisionCell, SupervisionCell] | None:
    """Two cells of a stage, the second reached by a harder eye, likelier rupture or one more override, yet looser."""
    every = list(cells(rulebook, stage))
    for mild in every:
        for grave in every:
            rises = mild.tier <= grave.tier and mild.limits_reached <= grave.limits_reached
            if rises and mild.overrides <= grave.overrides and grave.supervised.is_looser_than(mild.supervised):
                return mild, grave
    return None


def _looser(was: Sequence[tuple[SupervisionCell, Formula]], now: Sequence[tuple[SupervisionCell, Formula]]) -> Formula:
    pairs = itertools.product(was, now)
    looser = (both for both in pairs if both[1][0].supervised.is_looser_than(both[0][0].supervised))
    return z3.Or([z3.And(before, after) for (_, before), (_, after) in looser])
