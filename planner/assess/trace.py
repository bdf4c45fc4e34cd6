"""The trace of factors: state, the value as recorded, what it needs, points, basis."""

from __future__ import annotations

import re
from typing import Any

from planner.assess.assessment import FactorState, State
from planner.assess.compiled import Compiled, Truths, Values
from planner.case import Case
from planner.conditions import Condition, FactorHolds, Test, findings_in, walk
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import Factor
from planner.vocabulary import Vocabulary
from planner.wording import lower_first, sentence

# Words for the same values are the same words; a batch says them once.
REMEMBERED_AT_MOST = 50_000
_SLOT = re.compile(r"\{(\w+)\}")


class Tracer:
    """Words that do not depend on a case are made once for a rulebook."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self.rulebook = compiled.rulebook
        names = labels(self.rulebook)
        vocabulary = self.rulebook.vocabulary
        self.needs = {f.id: sentence(f.when, vocabulary, names) for f in self.rulebook.factors.values()}
        self.direct = {f.id: sorted(findings_in(f.when)) for f in self.rulebook.factors.values()}
        self.reached = {f.id: reached_findings(f.when, self.rulebook) for f in self.rulebook.factors.values()}
        self.places = {name: [compiled.index[f] for f in found] for name, found in self.reached.items()}
        self._said: dict[Any, tuple[State, str]] = {}
        self.groups: dict[str, list[Factor]] = {}
        for factor in self.rulebook.factors.values():
            if factor.counts_once_with and factor.points:
                self.groups.setdefault(factor.counts_once_with, []).append(factor)

    def factors(self, case: Case, values: Values, truths: Truths) -> tuple[FactorState, ...]:
        """Every factor with its state, in the order of the rulebook."""
        inapplicable = {
            name
            for place, name in ((p, self.rulebook.vocabulary.findings[p].id) for p in self.compiled.asked_tests)
            if values[place] is None and self.compiled.asked_tests[place](values) is False
        }
        counted = self._counted(truths)
        result = []
        for factor in self.rulebook.factors.values():
            truth = truths[self.compiled.place[f"factor:{factor.id}"]]
            points = (
                factor.points if truth and counted.get(factor.counts_once_with or "", factor.id) == factor.id else 0
            )
            key = (factor.id, truth, tuple([values[place] for place in self.places[factor.id]]))
            if key not in self._said:
                if len(self._said) > REMEMBERED_AT_MOST:
                    self._said.clear()
                self._said[key] = self._state(factor, truth, case, inapplicable)
            state, because = self._said[key]
            result.append(
                FactorState(
                    factor.id,
                    factor.label,
                    state,
                    because,
                    points,
                    0 if truth is False else factor.points,
                    fill(factor.harm, case, self.rulebook.vocabulary),
                    factor.floor.tier if factor.floor else None,
                    (factor.points_basis or factor.limits_basis).words,
                    tuple(rate.text for rate in factor.published_rates),
                )
            )
        return tuple(result)

    def _counted(self, truths: Truths) -> dict[str, str]:
        """For each group that counts once, the heaviest factor that holds."""
        heaviest = {}
        for group, members in self.groups.items():
            holding = [f for f in members if truths[self.compiled.place[f"factor:{f.id}"]]]
            if holding:
                heaviest[group] = max(holding, key=_weight).id
        return heaviest

    def _state(self, factor: Factor, truth: bool | None, case: Case, inapplicable: set[str]) -> tuple[State, str]:
        vocabulary, found = self.rulebook.vocabulary, case.in_force
        if truth is True:
            return "holds", fill(factor.because, case, vocabulary)
        if truth is None:
            missing = [
                vocabulary.by_id[n].label for n in self.reached[factor.id] if n not in found and n not in inapplicable
            ]
            return "unknown", "not recorded: " + ", ".join(lower_first(label) for label in missing)
        blank = [name for name in self.direct[factor.id] if name not in found]
        if blank and all(name in inapplicable for name in blank):
            return "not-applicable", f"{lower_first(vocabulary.by_id[blank[0]].label)} is not asked in this eye"
        recorded = [
            f"{lower_first(vocabulary.by_id[n].label)} {vocabulary.by_id[n].shown(found[n])}"
            for n in self.reached[factor.id]
            if n in found
        ]
        return "does-not-hold", f"{', '.join(recorded)}; it needs {self.needs[factor.id]}"


def _weight(factor: Factor) -> tuple[int, float]:
    """Points, and among equal points the published odds, so that the trace names the factor that carries them."""
    basis = factor.points_basis
    return factor.points, (basis.odds_ratio or 0.0) if basis else 0.0


def labels(rulebook: Rulebook) -> dict[str, str]:
    """The label of every factor id and `choice.option`."""
    names = {factor.id: factor.label for factor in rulebook.factors.values()}
    for choice in rulebook.choices.values():
        names |= {f"{choice.id}.{option.id}": option.label for option in choice.options}
    return names


def reached_findings(condition: Condition, rulebook: Rulebook) -> list[str]:
    """Every finding a condition rests on, through factors and options, in vocabulary order."""
    reached: set[str] = set()
    seen: set[str] = set()
    queue = [condition]
    while queue:
        for part in walk(queue.pop()):
            if isinstance(part, Test):
                reached.add(part.finding)
            elif isinstance(part, FactorHolds) and part.factor not in seen:
                seen.add(part.factor)
                queue.append(rulebook.factors[part.factor].when)
            elif not isinstance(part, Test | FactorHolds) and hasattr(part, "option") and part.option not in seen:
                seen.add(part.option)
                queue.append(rulebook.wins[part.option])
    return [finding.id for finding in rulebook.vocabulary.findings if finding.id in reached]


def fill(template: str, case: Case, vocabulary: Vocabulary) -> str:
    """A template with each `{finding_id}` replaced by the value as recorded."""
    if "{" not in template:
        return template
    return _SLOT.sub(lambda slot: vocabulary.by_id[slot[1]].shown(case.findings.get(slot[1])), template)
