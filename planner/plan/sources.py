"""The sources a printed plan cites, numbered in the order of their ids."""

from __future__ import annotations

from collections.abc import Iterator

from planner.claims import Basis
from planner.plan.plan import CitedSource, EyePlan
from planner.rulebook.rulebook import Rulebook


def cited(plan: EyePlan, rulebook: Rulebook) -> tuple[CitedSource, ...]:
    """Every source that a basis in the plan names, and those of the models whose numbers print."""
    keys = {rulebook.odds.source, *(score.source for score in rulebook.scores)}
    keys.update(basis.source for basis in _bases(plan) if basis.source is not None)
    numbered = enumerate((rulebook.sources[key] for key in sorted(keys) if key in rulebook.sources), 1)
    return tuple(CitedSource(n, s.id, s.citation, s.read, s.locator, s.known) for n, s in numbered)


def _bases(plan: EyePlan) -> Iterator[Basis]:
    lens, probability = plan.lens, plan.assessment.probability
    yield from (state.basis for state in plan.assessment.factors if state.state in ("holds", "unknown"))
    yield from (chosen.way.basis for chosen in plan.choices.values())
    for claims in (plan.drills, plan.drugs, plan.cautions, plan.rules, lens.sulcus):
        yield from (claim.basis for claim in claims)
    yield from (lens.captured_basis, lens.note_basis)
    yield from (rate.basis for item in probability.not_counted for rate in item.rates)
    if probability.recentred is not None and probability.recentred.era is not None:
        yield probability.recentred.era.basis
