"""The benches run, and their judges agree; how fast is for a person to read, never a test's affair."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

pytest.importorskip("zen", reason="the bench extra is not installed")
pytest.importorskip("cel_expr_python", reason="the bench extra is not installed")

from bench import conditions
from bench.__main__ import BENCHES
from bench.measure import Line, table
from bench.rule_sets import RULES, RuleSet, shipped_core, synthetic
from planner.conditions import Not


@pytest.mark.parametrize("name", BENCHES)
def test_a_quick_run_fills_a_table(name: str) -> None:
    run: Callable[[bool], Iterator[Line]] = BENCHES[name]
    lines = list(run(True))
    assert lines
    assert all(line.ours > 0 and (line.theirs is None or line.theirs > 0) for line in lines)
    assert len(table(lines).splitlines()) == len(lines) + 2


def test_the_synthetic_set_is_the_size_it_claims_and_meets_every_truth() -> None:
    rules = synthetic(50)
    assert (len(rules.conditions), rules.comparisons) == (RULES, 237)
    met = [truth for values in rules.cases for truth in rules.generated(values)]
    assert all(met.count(truth) > len(met) / 10 for truth in (True, False, None))


@pytest.mark.parametrize("made", [synthetic, shipped_core])
@pytest.mark.parametrize("judge", conditions.judges_of(synthetic(1)))
def test_a_judge_of_other_rules_is_found_out(made: Callable[[int], RuleSet], judge: str) -> None:
    rules = made(30)
    first, *others = rules.conditions
    wrong = replace(rules, conditions=(Not(first), *others))
    with pytest.raises(conditions.Disagreement, match=judge):
        conditions.check(rules, {judge: conditions.judges_of(wrong)[judge]})
