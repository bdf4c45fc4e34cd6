"""Ranges over completions are sound and tight: the search against brute force on the shipped rulebook.

Brute force gives every missing finding every one of its decisive values, drops completions that an impossible pair
forbids, and takes the least and most; nothing of the search is used.
"""

from __future__ import annotations

import itertools
import math
import random

import pytest
from random_cases import as_case, complete_values
from seeds import seeds

from planner.assess.assess import Assessor
from planner.assess.unknowns import LARGEST_SET, Settling
from planner.plan.choices import Picture, possible_winners

UNKNOWNS = 6
COMPLETIONS_AT_MOST = 2_500


def every_completion(ready: Assessor, values, unknown):
    """All allowed completions, by plain enumeration; findings that do not apply stay None."""
    compiled = ready.compiled
    pairs = [compiled.place[name] for name in compiled.core_names if name.startswith("impossible:")]
    unknown = [place for place in unknown if compiled.cells[place]]  # the others nothing asks the value of
    seen = set()
    for cells in itertools.product(*(compiled.cells[place] for place in unknown)):
        full = list(values)
        for place, cell in zip(unknown, cells, strict=True):
            full[place] = cell
        for _ in unknown:  # what does not apply goes back to missing; again, until nothing changes
            for place in unknown:
                if place in compiled.asked_tests and compiled.asked_tests[place](full) is False:
                    full[place] = None
        truths, bounds = compiled.core(full)
        if tuple(full) in seen or any(truths[place] for place in pairs):
            continue
        seen.add(tuple(full))
        yield full, truths, bounds


def random_question(ready: Assessor, seed: int):
    """A case with some findings blank, few enough that every completion can be looked at."""
    draw = random.Random(seed)
    while True:
        values, unknown = drawn_question(ready, draw)
        if math.prod(len(ready.compiled.cells[place]) or 1 for place in unknown) <= COMPLETIONS_AT_MOST:
            return values, unknown


def drawn_question(ready: Assessor, draw: random.Random):
    values = complete_values(ready.compiled, draw)
    scope = [place for place in ready.completions.scope(ready.objectives.tier) if values[place] is not None]
    others = [place for place, value in enumerate(values) if value is not None and place not in scope]
    unknown = draw.sample(scope, UNKNOWNS - 1) + draw.sample(others, 1)
    # A finding that hangs on an unknown one must be unknown too, or the question would be answered by it.
    for place in list(ready.compiled.asked_tests):
        hangs_on = ready.compiled.depends_of_asked(place)
        if place not in unknown and hangs_on & set(unknown):
            unknown.append(place)
    for place in unknown:
        values[place] = None
    return values, unknown


@pytest.mark.parametrize("seed", seeds(40, 12))
def test_every_range_equals_brute_force(ready: Assessor, seed: int) -> None:
    values, unknown = random_question(ready, seed)
    completions = list(every_completion(ready, values, unknown))
    assert completions, "a question drawn from an allowed case has at least that case as a completion"
    objectives = [*ready.objectives.totals.values(), ready.objectives.tier]
    for objective in objectives:
        reached = [objective.bounds(full, truths, bounds) for full, truths, bounds in completions]
        assert all(low == high for low, high in reached), f"{objective.key} is open in a complete case"
        low, high = ready.ends(values, objective)
        assert (low.value, high.value) == (min(r[0] for r in reached), max(r[0] for r in reached)), objective.key


@pytest.mark.parametrize("seed", range(300, 340))
def test_the_plain_eye_is_one_of_the_completions_and_the_least(ready: Assessor, seed: int) -> None:
    values, unknown = random_question(ready, seed)
    findings = ready.rulebook.vocabulary.findings
    for place in unknown:
        if findings[place].plain_value is None and ready.compiled.cells[place]:
            values[place] = ready.compiled.cells[place][0]
    unknown = [place for place in unknown if values[place] is None]
    completions = list(every_completion(ready, values, unknown))
    if not completions:
        pytest.skip("no eye is like this")
    plain = ready.plain_eye(values)
    truths, bounds = ready.compiled.core(plain)
    # The decisive values stand for all others: some completion is judged in every way as the plain eye is.
    assert truths in [truths_of for _, truths_of, _ in completions]
    for objective in (*(ready.objectives.totals[name] for name in ("points", "log-odds")), ready.objectives.tier):
        least = min(objective.bounds(full, of, bounds_of)[0] for full, of, bounds_of in completions)
        low, high = objective.bounds(plain, truths, bounds)
        assert low == high == pytest.approx(least), objective.key


@pytest.mark.parametrize("seed", range(100, 115))
def test_possible_winners_are_exactly_those_of_the_completions(ready: Assessor, rulebook, seed: int) -> None:
    values, unknown = random_question(ready, seed)
    picture = Picture(ready, as_case(ready.compiled, values))
    # A preference left blank is planned as the plain one.
    findings = rulebook.vocabulary.findings
    values = [f.plain_value if v is None and f.preference else v for f, v in zip(findings, values, strict=True)]
    unknown = [place for place in unknown if values[place] is None]
    winners: dict[str, set[str]] = {choice: set() for choice in rulebook.choices}
    for full, truths, _ in every_completion(ready, values, unknown):
        options = ready.compiled.options(full, truths)
        for name, place in ready.compiled.option_place.items():
            if name.startswith("option:") and options[place]:
                choice, option = name.removeprefix("option:").split(".")
                winners[choice].add(option)
    for choice in rulebook.choices.values():
        assert {option.id for option in possible_winners(picture, choice)} == winners[choice.id], choice.id


@pytest.mark.parametrize("seed", range(200, 240))
def test_exactly_one_option_wins_in_a_complete_case(ready: Assessor, rulebook, seed: int) -> None:
    values = complete_values(ready.compiled, random.Random(seed))
    truths, _ = ready.compiled.core(values)
    options = ready.compiled.options(values, truths)
    for choice in rulebook.choices.values():
        won = [o.id for o in choice.options if options[ready.compiled.option_place[f"option:{choice.id}.{o.id}"]]]
        assert len(won) == 1, (choice.id, won)


def open_question(ready: Assessor, seed: int):
    """A random question whose tier is open, with the tier of each of its completions."""
    for attempt in range(1000):
        values, unknown = random_question(ready, 10_000 * seed + attempt)
        tier = ready.objectives.tier
        completions = every_completion(ready, values, unknown)
        rows = [(full, tier.bounds(full, truths, bounds)[0]) for full, truths, bounds in completions]
        if len({level for _, level in rows}) > 1:
            return values, unknown, rows
    raise AssertionError("no open question in a thousand")


@pytest.mark.parametrize("seed", seeds(30, 5))
def test_settling_sets_against_brute_force(ready: Assessor, seed: int) -> None:
    """A set settles when all completions that agree on it have one tier; smallest means no smaller set does."""
    values, _, rows = open_question(ready, seed)

    def settles(places) -> bool:
        tiers: dict[tuple, set[float]] = {}
        for full, level in rows:
            tiers.setdefault(tuple(full[place] for place in places), set()).add(level)
        return all(len(levels) == 1 for levels in tiers.values())

    settling = Settling(ready.compiled, ready.completions, ready.objectives.tier, values)
    # A finding that hangs on missing ones cannot be recorded before them.
    missing = {place for place, value in enumerate(values) if value is None}
    hangs_on = {place: ready.compiled.depends_of_asked(place) & missing for place in missing}

    def recordable(places) -> bool:
        return all(hangs_on[place] <= set(places) for place in places)

    assert set(settling.alone()) == {p for p in settling.candidates if recordable((p,)) and settles((p,))}
    found = settling.smallest()
    sizes = [
        n
        for n in range(1, LARGEST_SET + 1)
        if any(recordable(c) and settles(c) for c in itertools.combinations(settling.candidates, n))
    ]
    if sizes:
        assert len(found) == sizes[0] and settles(found)
    else:
        assert found == ()


def test_a_completion_has_the_values_of_its_own_case(rulebook) -> None:
    """What does not matter to a search is remembered from no other case: it would be printed as this patient's."""
    engine = Assessor(rulebook)
    made = engine.compiled
    objective = engine.objectives.holds("factor:small-pupil")
    values = complete_values(made, random.Random(1))
    values[made.index["dilated_pupil_mm"]] = None
    other = [None if place not in engine.completions.scope(objective) else v for place, v in enumerate(values)]
    for case in (values, other):
        found = engine.completions.extreme(case, objective, highest=True)
        assert [v for p, v in enumerate(found.completion) if p != made.index["dilated_pupil_mm"]] == [
            v for p, v in enumerate(case) if p != made.index["dilated_pupil_mm"]
        ]
