"""Random allowed cases on the shipped vocabulary, for the relations that must hold of every case."""

from __future__ import annotations

import random
from functools import lru_cache
from typing import Any

from planner.assess.compiled import Compiled
from planner.case import Case


def complete_values(compiled: Compiled, draw: random.Random, mild: float = 0.6) -> list[Any]:
    """A complete allowed case on decisive values: every finding that applies has one, no impossible pair holds.

    `mild` is the share of findings left at a plain value, which by itself adds nothing: near 1 few cases reach tier 4.
    """
    pairs = [compiled.place[name] for name in compiled.core_names if name.startswith("impossible:")]
    order = sorted(range(len(compiled.cells)), key=lambda place: (_depth(compiled, place), place))
    while True:
        values: list[Any] = [None] * len(compiled.cells)
        for place in order:
            applies = place not in compiled.asked_tests or compiled.asked_tests[place](values)
            if compiled.cells[place] and applies:
                values[place] = (
                    plain_value(compiled, place) if draw.random() < mild else draw.choice(compiled.cells[place])
                )
        truths, _ = compiled.core(values)
        if not any(truths[place] for place in pairs):
            return values


@lru_cache(maxsize=1000)
def plain_value(compiled: Compiled, place: int) -> Any:
    """The value of a finding with which, nothing else recorded, the fewest conditions hold."""

    def holding(cell: Any) -> int:
        values: list[Any] = [None] * len(compiled.cells)
        values[place] = cell
        return sum(truth is True for truth in compiled.core(values)[0])

    return min(compiled.cells[place], key=holding)


def _depth(compiled: Compiled, place: int) -> int:
    name = compiled.rulebook.vocabulary.findings[place].id
    if name not in compiled.asked:
        return 0
    from planner.conditions import findings_in

    return 1 + max(_depth(compiled, compiled.index[other]) for other in findings_in(compiled.asked[name]))


def as_case(compiled: Compiled, values: list[Any], eye: str = "right") -> Case:
    """Values in vocabulary order as a case."""
    findings = compiled.rulebook.vocabulary.findings
    return Case("T-1", eye, {f.id: v for f, v in zip(findings, values, strict=True) if v is not None})
