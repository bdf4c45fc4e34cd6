"""The trace of factors: state, the value as recorded, what it needs, points, basis."""

from __future__ import annotations

import re
from operator import itemgetter
from typing import Any

from planner.assess.assessment import FactorState
from planner.assess.compiled import Compiled, Truths, Values
from planner.case import Case
from planner.conditions import Condition, findings_in
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import Factor
from planner.truth import Truth
from planner.vocabulary import Vocabulary
from planner.wording.conditions import sentence
from planner.wording.reasons import FactorReason
from planner.wording.words import lower_first

# Words for the same values are the same words; a batch says them once.
REMEMBERED_AT_MOST = 50_000
_SLOT = re.compile(r"\{(\w+)\}")


class Tracer:
    """Words that do not depend on a case are made once for a rulebook; what was said of the same values is kept."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self.rulebook = compiled.rulebook
        self.names = labels(self.rulebook)
        vocabulary = self.rulebook.vocabulary
        factors = self.rulebook.factors.values()
        self.needs = {f.id: sentence(f.when, vocabulary, self.names) for f in factors}
        self.label = {finding.id: lower_first(finding.label) for finding in vocabulary.findings}
        self.reached = {f.id: reached_findings(f.when, self.rulebook) for f in factors}
        self.traced = [(f, compiled.place[f"factor:{f.id}"], self._shown_by(f)) for f in factors]
        self._said: dict[tuple[int, bool, Any], FactorState] = {}
        groups: dict[str, list[Factor]] = {}
        for factor in factors:
            if factor.counts_once_with and factor.points:
                groups.setdefault(factor.counts_once_with, []).append(factor)
        # Heaviest first, as places.
        self.groups = [
            [compiled.place[f"factor:{f.id}"] for f in sorted(members, key=_weight, reverse=True)]
            for members in groups.values()
        ]

    def _shown_by(self, factor: Factor) -> itemgetter[Any]:
        """Takes, from the values of a case, all that a factor's state and words can depend on."""
        places = set(self.compiled.depends[f"factor:{factor.id}"])
        places.update(self.compiled.index[name] for name in _SLOT.findall(factor.because + factor.harm))
        return itemgetter(*sorted(places or {0}))

    def factors(self, case: Case, values: Values, truths: Truths) -> tuple[FactorState, ...]:
        """Every factor with its state, in the order of the rulebook."""
        if len(self._said) > REMEMBERED_AT_MOST:
            self._said.clear()
        outweighed: set[int] = set()
        for places in self.groups:
            outweighed.update([place for place in places if truths[place]][1:])
        result = []
        for factor, place, shown_by in self.traced:
            counts = truths[place] is True and place not in outweighed
            key = (place, counts, shown_by(values))
            said = self._said.get(key)
            if said is None:
                said = self._said[key] = self._said_of(factor, truths[place], counts, case, values)
            result.append(said)
        return tuple(result)

    def _said_of(self, factor: Factor, truth: Truth, counts: bool, case: Case, values: Values) -> FactorState:
        return FactorState(
            factor.id,
            factor.label,
            self._reason(factor, truth, case, values),
            factor.points if counts else 0,
            0 if truth is False else factor.points,
            fill(factor.harm, case, self.rulebook.vocabulary),
            factor.floor.tier if factor.floor else None,
            factor.points_basis or factor.limits_basis,
            tuple(rate.text for rate in factor.published_rates),
        )

    def _applies(self, name: str, values: Values) -> bool:
        """Whether a finding is asked in this eye, as far as is known."""
        return self.compiled.applies(self.compiled.index[name], values) is not False

    def _reason(self, factor: Factor, truth: Truth, case: Case, values: Values) -> FactorReason:
        vocabulary, in_force = self.rulebook.vocabulary, case.in_force
        if truth is True:
            return FactorReason("holds", fill(factor.because, case, vocabulary))
        reached = self.reached[factor.id]
        if truth is None:
            missing = [n for n in reached if n not in in_force and self._applies(n, values)]
            return FactorReason("unknown", findings=tuple(self.label[n] for n in missing))
        blank = [name for name in sorted(findings_in(factor.when)) if name not in in_force]
        if blank and not any(self._applies(name, values) for name in blank):
            return FactorReason("not-applicable", findings=(self.label[blank[0]],))
        recorded = tuple(f"{self.label[n]} {vocabulary.by_id[n].shown(in_force[n])}" for n in reached if n in in_force)
        return FactorReason("does-not-hold", findings=recorded, needs=self.needs[factor.id])


def _weight(factor: Factor) -> tuple[int, float]:
    """Points, and among equal points the published odds, so that the trace names the factor that carries them."""
    basis = factor.points_basis
    return factor.points, (basis.odds_ratio or 0.0) if basis else 0.0


def labels(rulebook: Rulebook) -> dict[str, str]:
    """The label of every factor id and `choice.option`."""
    names = {factor.id: factor.label for factor in rulebook.factors.values()}
    return names | {name: option.label for name, option in rulebook.options.items()}


def reached_findings(condition: Condition, rulebook: Rulebook) -> list[str]:
    """Every finding a condition rests on, through factors and options, in vocabulary order."""
    reached = {test.finding for test in rulebook.tests_behind(condition)}
    return [finding.id for finding in rulebook.vocabulary.findings if finding.id in reached]


def fill(template: str, case: Case, vocabulary: Vocabulary) -> str:
    """A template with each `{finding_id}` replaced by its value; one in doubt reads as not recorded."""
    if "{" not in template:
        return template
    return _SLOT.sub(lambda slot: vocabulary.by_id[slot[1]].shown(case.in_force.get(slot[1])), template)
