"""Conditions: our generated source, closures, a plain tree walk, and two general-purpose engines, all agreeing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any

from bench.engines import Judge, cel_expr, closures, tree_walk, zen_engine
from bench.measure import Line, against, rounds_of, say
from bench.rule_sets import RuleSet, shipped_core, synthetic
from planner.truth import Truth

# Each judge, and whether it says which conditions certainly hold and no more.
CERTAIN_ONLY = ("zen-engine, holds only", "cel-expr-python, holds only")
# On 80 rules; the rulebook's own set has no goal, as its size is its own.
GOALS = {"zen-engine": ">= 4 and <= 10 us", "cel-expr-python": ">= 4"}


def judges_of(rules: RuleSet) -> dict[str, Judge]:
    """Every other way to judge a rule set, by name."""
    return {
        "closures": closures(rules),
        "tree walk": tree_walk(rules),
        "zen-engine": zen_engine(rules, both_ways=True),
        "zen-engine, holds only": zen_engine(rules, both_ways=False),
        "cel-expr-python": cel_expr(rules, both_ways=True),
        "cel-expr-python, holds only": cel_expr(rules, both_ways=False),
    }


def run(quick: bool) -> Iterator[Line]:
    cases, rounds = (40, 3) if quick else (400, 15)
    for rules, goals in ((synthetic(cases), GOALS), (shipped_core(cases), {})):
        say(f"conditions: {rules.name}, {len(rules.conditions)} conditions, {rules.comparisons} comparisons")
        judges = judges_of(rules)
        check(rules, judges)

        def every_case(judge: Judge, cases: list[list[Any]]) -> None:
            for values in cases:
                judge(values)

        contestants = {
            name: partial(every_case, judge, rules.cases) for name, judge in {"ours": rules.generated, **judges}.items()
        }
        taken = rounds_of(contestants, rounds)
        yield from against("conditions", rules.name, taken, goals, share=cases, inverse=True)


class Disagreement(AssertionError):
    """Two engines gave different truths of the same condition in the same case."""


def check(rules: RuleSet, judges: dict[str, Judge]) -> None:
    """Every judge says of every condition in every case what ours says, as far as it can. Raises Disagreement."""
    for values in rules.cases:
        ours = rules.generated(values)
        for name, judge in judges.items():
            expected = tuple(truth is True for truth in ours) if name in CERTAIN_ONLY else ours
            given = three_valued(judge(values), len(ours))
            for condition, said, wanted in zip(rules.conditions, given, expected, strict=True):
                if said is not wanted:
                    raise Disagreement(f"{name} says {said} and ours {wanted} of {condition} in {values}")


def three_valued(answers: Sequence[Truth], conditions: int) -> list[Truth]:
    """Answers as truths; twice as many answers as conditions are those that hold, then those that do not."""
    if len(answers) == conditions:
        return list(answers)
    pairs = zip(answers[:conditions], answers[conditions:], strict=True)
    return [True if holds else False if fails else None for holds, fails in pairs]
