"""What the engines are given to judge: the shipped rulebook's conditions, and a synthetic set of 80 rules."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from random_cases import complete_values

from planner.assess.assess import assessor
from planner.assess.code_writer import FunctionWriter
from planner.conditions import All, Any_, Condition, FactorHolds, Not, Test, rebuild, walk
from planner.rulebook.load import shipped

RULES, COMPARISONS = 80, 237
MISSING = 0.25


@dataclass(frozen=True)
class RuleSet:
    """Conditions over named fields, and cases as values in field order; None is missing.

    `asked` says when a field applies at all. `generated` is our own function, values to truths.
    """

    name: str
    fields: tuple[str, ...]
    conditions: tuple[Condition, ...]
    asked: dict[str, Condition]
    cases: list[list[Any]]
    generated: Callable[[list[Any]], tuple[bool | None, ...]]

    @cached_property
    def index(self) -> dict[str, int]:
        return {name: place for place, name in enumerate(self.fields)}

    @property
    def comparisons(self) -> int:
        return sum(isinstance(part, Test) for condition in self.conditions for part in walk(condition))


def shipped_core(cases: int, seed: int = 1) -> RuleSet:
    """Everything of the shipped rulebook that scores, factors within factors written out; a part of each case missing.

    Our function is the program's own, which adds up the bounds of every total besides.
    """
    ready = assessor(shipped())
    compiled, rulebook = ready.compiled, ready.rulebook

    def written_out(condition: Condition) -> Condition:
        return rebuild(
            condition,
            lambda part: written_out(rulebook.factors[part.factor].when) if isinstance(part, FactorHolds) else part,
        )

    draw = random.Random(seed)
    drawn = [[None if draw.random() < MISSING else v for v in complete_values(compiled, draw)] for _ in range(cases)]
    core = compiled.core
    return RuleSet(
        "shipped rulebook",
        tuple(finding.id for finding in rulebook.vocabulary.findings),
        tuple(map(written_out, (compiled.conditions[name] for name in compiled.core_names))),
        {name: written_out(condition) for name, condition in compiled.asked.items()},
        drawn,
        lambda values: core(values)[0],
    )


def synthetic(cases: int, seed: int = 1) -> RuleSet:
    """80 rules with 237 comparisons over 40 nullable fields: 24 numbers, 8 yes-no, 8 choices of five."""
    draw = random.Random(seed)
    numbers = [f"number_{n}" for n in range(24)]
    yes_no = [f"yes_no_{n}" for n in range(8)]
    choices = [f"choice_{n}" for n in range(8)]
    words = ("none", "mild", "moderate", "marked", "severe")

    def comparison() -> Condition:
        name = draw.choice(numbers + yes_no + choices)
        if name in numbers:
            how = draw.choice(("less_than", "at_most", "at_least", "more_than"))
            return Test(name, how, draw.randrange(10, 91) / 10)
        if name in yes_no:
            return Test(name, "is", draw.random() < 0.7)
        if draw.random() < 0.5:
            return Test(name, "is", draw.choice(words))
        return Test(name, "is_one_of", frozenset(draw.sample(words, 2)))

    # Three comparisons a rule, two in the few last ones.
    sizes = [3] * (COMPARISONS - 2 * RULES) + [2] * (3 * RULES - COMPARISONS)
    rules = []
    for size in sizes:
        parts = [comparison() for _ in range(size)]
        if draw.random() < 0.3:
            parts[0] = Not(parts[0])
        first, *rest = parts
        inner = rest[0] if len(rest) == 1 else draw.choice((All, Any_))(tuple(rest))
        rules.append(draw.choice((All, Any_))((first, inner)))

    def value(name: str) -> Any:
        if draw.random() < MISSING:
            return None
        if name in numbers:
            return draw.randrange(0, 101) / 10
        return draw.random() < 0.5 if name in yes_no else draw.choice(words)

    fields = (*numbers, *yes_no, *choices)
    drawn = [[value(name) for name in fields] for _ in range(cases)]
    source = FunctionWriter({name: place for place, name in enumerate(fields)}, {}, {})
    results = [source.expression(rule) for rule in rules]
    generated = source.compiled("generated", "v", f"({', '.join(results)},)")
    return RuleSet("80 rules, 237 comparisons", fields, tuple(rules), {}, drawn, generated)
