"""Random allowed cases on the shipped vocabulary, for the relations that must hold of every case."""

from __future__ import annotations

import random
from typing import Any

from planner.assess.compiled import Compiled
from planner.case import Case


def complete_values(compiled: Compiled, draw: random.Random) -> list[Any]:
    """A complete allowed case on decisive values: every finding that applies has one, no impossible pair holds."""
    pairs = [compiled.place[name] for name in compiled.core_names if name.startswith("impossible:")]
    order = sorted(range(len(compiled.cells)), key=lambda place: (_depth(compiled, place), place))
    while True:
        values: list[Any] = [None] * len(compiled.cells)
        for place in order:
            applies = place not in compiled.asked_tests or compiled.asked_tests[place](values)
            if compiled.cells[place] and applies:
                # Half the findings at their mildest, so that cases are not all at the top tier.
                cells = compiled.cells[place]
                values[place] = cells[0] if draw.random() < 0.6 else draw.choice(cells)
        truths, _ = compiled.core(values)
        if not any(truths[place] for place in pairs):
            return values


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
