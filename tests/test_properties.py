"""Relations that hold of every case: worse is never better, recording stays in the range, sides mirror."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.assess.cells import harm
from planner.plan.choices import Picture, possible_winners, prepared


@pytest.mark.parametrize("seed", range(60))
def test_worse_is_never_better(ready: Assessor, seed: int) -> None:
    """One finding made one decisive value worse in its stated direction, all else equal and the same findings asked."""
    values = complete_values(ready.compiled, random.Random(seed))
    findings = ready.rulebook.vocabulary.findings
    base = as_case(ready.compiled, values)
    points = ready.range(values, ready.objectives.totals["points"]).most
    tier = ready.working_tier(base)
    for place, finding in enumerate(findings):
        if values[place] is None or finding.worse == "none":
            continue
        for cell in ready.compiled.cells[place]:
            if harm(finding, cell) <= harm(finding, values[place]):
                continue
            worse = list(values)
            worse[place] = cell
            truths, _ = ready.compiled.core(worse)
            asked = [test(worse) is not False for test in ready.compiled.asked_tests.values()]
            same = asked == [test(values) is not False for test in ready.compiled.asked_tests.values()]
            if not same or any(truths[p] for p in ready.completions.pair_places):
                continue
            assert ready.range(worse, ready.objectives.totals["points"]).most >= points, (finding.id, cell)
            assert ready.working_tier(as_case(ready.compiled, worse)) >= tier, (finding.id, cell)


@pytest.mark.parametrize("seed", range(60))
def test_recording_a_missing_finding_stays_in_the_range(ready: Assessor, seed: int) -> None:
    draw = random.Random(seed)
    values = complete_values(ready.compiled, draw)
    free = [p for p, v in enumerate(values) if v is not None and p not in ready.compiled.asked_tests]
    blank = list(values)
    for place in draw.sample(free, 5):
        blank[place] = None
    for objective in (*ready.objectives.totals.values(), ready.objectives.tier):
        wide, exact = ready.ends(blank, objective), ready.ends(values, objective)
        assert wide[0].value <= exact[0].value <= exact[1].value <= wide[1].value, objective.key


@pytest.mark.parametrize("seed", range(10))
def test_sides_mirror(ready: Assessor, seed: int) -> None:
    case = as_case(ready.compiled, complete_values(ready.compiled, random.Random(seed)))
    right = assess(case, ready.rulebook)
    left = assess(replace(case, eye="left"), ready.rulebook)
    assert replace(left, case=case) == right


@pytest.mark.parametrize("seed", range(60))
def test_the_order_of_options_changes_nothing_prepared(ready: Assessor, seed: int) -> None:
    """Which option is prepared comes from what outranks what, directly or through others, never from row order."""
    draw = random.Random(seed)
    values = complete_values(ready.compiled, draw)
    for place in draw.sample([p for p, v in enumerate(values) if v is not None], 25):
        values[place] = None
    picture = Picture(ready, as_case(ready.compiled, values))
    for choice in ready.rulebook.choices.values():
        winners = possible_winners(picture, choice)
        assert prepared(picture, choice, winners) is prepared(picture, choice, winners[::-1]), choice.id
