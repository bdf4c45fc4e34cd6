"""How many more cases at most: never fewer than brute force finds, and said only where it is so."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench.weeks import made
from lists.brute_force import every_list
from lists.small_weeks import eye, session, week
from lists.test_match import chance_week
from seeds import seeds

from planner.lists.matching import match as matching
from planner.lists.matching import placement_bound as counting
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import filled, match
from planner.lists.matching.objective import of_lists
from planner.lists.matching.placement_bound import More, most_more
from planner.lists.rules.checker import check
from planner.lists.week.instance import Lists


@pytest.mark.parametrize("seed", seeds(40, 8))
def test_never_fewer_than_there_are(seed: int) -> None:
    instance = chance_week(seed)
    every = list(every_list(instance))
    for lists in (filled(Alike(instance)), Lists(()), match(instance).lists):
        placed, worth = len(lists.placings), of_lists(instance, lists)
        most = most_more(Alike(instance), lists)
        assert most is not None
        assert placed + most.at_all >= max(len(each.placings) for each in every)
        as_good = [len(each.placings) for each in every if of_lists(instance, each) >= worth - 1e-9]
        assert placed + most.as_good >= max(as_good) and most.as_good <= most.at_all
        assert most.at_all <= len(instance.cases) - placed


def test_known_numbers() -> None:
    # 240 minutes hold 7 operations of a consultant within one chance in ten (test_best.py): of nine cases two wait.
    cases = [eye(f"{n}", agreement=False) for n in range(9)]
    one = week(cases, [session("one")])
    found = match(one)
    assert len(found.lists.placings) == 7 and found.more == More(0, 0)
    assert most_more(Alike(one), replace(found.lists, placings=found.lists.placings[:4])) == More(3, 3)
    with_one_barred = replace(one, cases=one.cases | {cases[0].key: replace(cases[0], consent=False)})
    assert most_more(Alike(with_one_barred), Lists(())) == More(7, 7)


def test_without_the_solver_what_may_stand_nowhere_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counting, "solver", lambda: None)
    one = week([eye("A"), eye("B", consent=False)], [session("one")])
    assert most_more(Alike(one), Lists(())) == More(1, 1)


def test_in_words() -> None:
    assert More(0, 0).says == "No lists place more cases."
    assert More(1, 1).says == "At most 1 more case could be placed."
    assert More(5, 2).says == "At most 5 more cases could be placed, and at most 2 in lists worth as much."
    assert More(5, 0).says.endswith("placed, and none in lists worth as much.")


@pytest.mark.long
def test_filling_anew_without_the_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "solver", lambda: None)
    instance = made(30, 4, 6, 3)
    found = match(instance)
    assert found.verdict.stands and check(instance, found.lists).stands
    assert found.worth > of_lists(instance, filled(Alike(instance))) * 1.05
    again = match(replace(instance, cases=dict(reversed(instance.cases.items()))))
    assert again.lists == found.lists and again.reasons == found.reasons


def test_filling_anew_leaves_what_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "solver", lambda: None)
    instance = made(30, 4, 6, 3)
    kept = replace(match(instance).lists, placings=filled(Alike(instance)).placings[:6])
    found = match(instance, kept)
    places = {(p.session, p.case, p.trainee, p.supervisor) for p in found.lists.placings}
    assert found.verdict.stands and {(p.session, p.case, p.trainee, p.supervisor) for p in kept.placings} <= places


@pytest.mark.parametrize("installed", [True, False])
def test_what_presses_comes_before_what_does_not(installed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not installed:
        monkeypatch.setattr(matching, "solver", lambda: None)
    cases = [eye(f"{n}", agreement=False) for n in range(7)]
    pressing = [eye("X", agreement=False, urgency="urgent"), eye("Y", agreement=False, urgency="soon")]
    found = match(week([*cases, *pressing], [session("one")]))
    assert {case.key for case in pressing} <= {placing.case for placing in found.lists.placings}
