"""The sources a printed plan cites, numbered in the order of their ids."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from typing import Any

from planner.plan.plan import CitedSource, Plan
from planner.rulebook.rulebook import Rulebook

_CITED = re.compile(r"published: ([a-z0-9-]+),")


def cited(plan: Plan, rulebook: Rulebook) -> tuple[CitedSource, ...]:
    """Every source that a basis in the plan names, and those of the models whose numbers print."""
    keys = {rulebook.odds.source, *(score.source for score in rulebook.scores)}
    for state in plan.assessment.factors:
        if state.state in ("holds", "unknown"):
            keys.update(_CITED.findall(state.basis))
    _gather(
        (plan.choices, plan.drills, plan.drugs, plan.cautions, plan.rules, plan.lens, plan.assessment.probability), keys
    )
    numbered = enumerate((rulebook.sources[key] for key in sorted(keys) if key in rulebook.sources), 1)
    return tuple(CitedSource(n, s.id, s.citation, s.read, s.locator, s.known) for n, s in numbered)


def _gather(value: Any, keys: set[str]) -> None:
    if isinstance(value, str):
        keys.update(_CITED.findall(value))
    elif isinstance(value, dict):
        for inner in value.values():
            _gather(inner, keys)
    elif isinstance(value, tuple | list):
        for inner in value:
            _gather(inner, keys)
    elif is_dataclass(value):
        for each in fields(value):
            _gather(getattr(value, each.name), keys)
