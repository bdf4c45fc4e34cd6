"""Random allowed cases on the shipped vocabulary, for the relations that must hold of every case."""

from __future__ import annotations

import random
from functools import lru_cache

from planner.assess.compiled import Compiled, Values
from planner.case import Case
from planner.compare import sampling

_sampler = lru_cache(maxsize=20)(sampling.Sampler)


def complete_values(compiled: Compiled, draw: random.Random, mild: float = 0.6) -> Values:
    """A complete allowed case; `mild` is the share of findings left at their plain value."""
    return _sampler(compiled).complete(draw, mild)


def partly_recorded(compiled: Compiled, draw: random.Random, mild: float, missing: float) -> Values:
    """A partly recorded case with all that a reading on record needs; `missing` is the share of the rest left blank."""
    kept = {compiled.index[name] for name in compiled.rulebook.vocabulary.on_record_needs}
    values = complete_values(compiled, draw, mild)
    return [value if p in kept or draw.random() >= missing else None for p, value in enumerate(values)]


def as_case(compiled: Compiled, values: Values, eye: str = "right") -> Case:
    """Values in vocabulary order as a case."""
    return sampling.as_case(compiled, values, "T-1", eye)
