"""Whole operations go to who still needs them: counted anew here, and the search held against every list there is."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from lists.brute_force import every_list
from lists.small_weeks import PEOPLE, SIMPLE, eye, session, week
from lists.test_match import chance_week
from seeds import draws, seeds

from planner.case import Stage
from planner.lists.matching import match as matching
from planner.lists.matching.best import best
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import match
from planner.lists.matching.objective import Tally, of_lists, of_placing
from planner.lists.matching.relaxation import Bound
from planner.lists.matching.trade_offs import trades
from planner.lists.roster.shapes import Wishes
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance, Lists, SupervisionNeed, Trainee
from planner.lists.week.week import Week

ANYONE: dict[Stage, SupervisionNeed] = SIMPLE | {"independent": SIMPLE["late"]}
EARLY, LATE = PEOPLE[:2]
FELLOW = Trainee("fellow", "independent", None, frozenset())
EQUAL = Wishes(fair_share=0, closer_than_needed=0)


def whole_of(instance: Instance, lists: Lists) -> Counter[str]:
    week = Week(instance, lists)
    return Counter(p.trainee for p in lists.placings if p.trainee and week.supervision(p).whole)


def training_points(instance: Instance, lists: Lists) -> float:
    """What whole operations and targets come to by the words of the README, trainee by trainee."""
    wishes, found = instance.wishes, 0.0
    lacking = {t.id: max(0, t.target - t.done) for t in instance.trainees.values() if t.target is not None}
    for name, count in whole_of(instance, lists).items():
        trainee = instance.trainees[name]
        if name not in lacking and (trainee.stage != "independent" or not any(lacking.values())):
            found += count * wishes.whole_operation
            continue
        up_to = min(count, lacking.get(name, 0))
        found += up_to * (wishes.whole_operation + wishes.toward_target)
        found += (count - up_to) * min(wishes.whole_operation, wishes.named_steps)
    return found


def needing_week(seed: int) -> Instance:
    """A small week at random whose trainees, one of them independent, have targets and something behind them."""
    drawn = random.Random(seed)
    instance = chance_week(seed)
    trainees = {
        name: replace(learner, target=drawn.choice([None, 0, 1, 2, 3]), done=drawn.choice([0, 0, 1, 2]))
        for name, learner in {**dict(list(instance.trainees.items())[:1]), "fellow": FELLOW}.items()
    }
    cases = {
        key: replace(case, with_stage=case.with_stage | {"independent": case.with_stage["late"]})
        for key, case in instance.cases.items()
    }
    times = instance.times | {"independent": instance.times["late"]}
    wishes = Wishes(whole_operation=drawn.choice([10, 3]), toward_target=drawn.choice([0, 6]))
    return replace(instance, trainees=trainees, cases=cases, times=times, wishes=wishes)


@pytest.mark.parametrize("seed", seeds(25, 6))
def test_brute_force_agrees_with_targets_over_months(seed: int) -> None:
    instance = needing_week(seed)
    every = list(every_list(instance))
    for lists in every[:: max(1, len(every) // 200)]:
        points = Counter[str]()
        for placing in lists.placings:
            points.update(of_placing(instance, placing))
        points.update(Tally(instance, lists.placings).points())
        by_wish = points["whole_operation"] + points["still_needed"] + points["toward_target"]
        assert by_wish == pytest.approx(training_points(instance, lists))
    most = max(of_lists(instance, lists) for lists in every)
    found = best(instance, effort=5)
    assert found.proved and found.worth == pytest.approx(most, abs=0.01)
    assert match(instance).worth == pytest.approx(most, abs=0.01), "the usual way reaches it on weeks this small"
    assert Bound(Alike(instance, Lists(()))).points >= most - 1e-6


def ways(monkeypatch: pytest.MonkeyPatch) -> dict[str, Callable[[Instance], Lists]]:
    def without_solver(instance: Instance) -> Lists:
        with monkeypatch.context() as patched:
            patched.setattr(matching, "solver", lambda: None)
            return match(instance).lists

    return {
        "usual": lambda instance: match(instance).lists,
        "without the solver": without_solver,
        "best": lambda instance: best(instance, effort=5).lists,
    }


@pytest.mark.parametrize("way", ["usual", "without the solver", "best"])
def test_no_target_is_overshot_while_another_is_open(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody beyond their need has a whole operation that one with an open target could have in the same place."""
    listed, overshot = ways(monkeypatch)[way], 0
    for seed in range(draws(5, 12)):
        drawn = random.Random(seed)
        trainees = (
            replace(EARLY, target=drawn.choice([2, 4, 9]), done=drawn.choice([0, 1])),
            replace(LATE, target=drawn.choice([0, 1, 2])),
            FELLOW,
        )
        cases = [eye(name, with_stage=ANYONE) for name in "ABCDEFGH"[: drawn.randint(4, 8)]]
        instance = week(cases, [session("one"), session("two")], trainees, wishes=EQUAL)
        lists = listed(instance)
        whole = whole_of(instance, lists)
        still_open = {t.id for t in trainees if t.open_target is not None and whole[t.id] < t.open_target}
        for placing in lists.placings:
            wanted = instance.wanted[placing.trainee] if placing.trainee else None
            if wanted is None or placing.trainee is None or whole[placing.trainee] <= wanted:
                continue
            overshot += 1
            for other in still_open:
                given = replace(placing, trainee=other)
                swapped = replace(lists, placings=tuple(given if p == placing else p for p in lists.placings))
                assert not check(instance, swapped).stands, (seed, placing, other)
    assert overshot, "somebody is beyond their need in some week, or nothing was tested"


@pytest.mark.parametrize("way", ["usual", "without the solver", "best"])
def test_a_beginner_with_a_target_has_the_whole_operations(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    cases = [eye(name, with_stage=ANYONE) for name in "ABC"]
    beginner = replace(EARLY, target=10, done=4)
    people = (FELLOW, beginner)
    instance = week(cases, [session("one")], people, wishes=EQUAL)
    assert whole_of(instance, ways(monkeypatch)[way](instance)) == {"early": 3}
    # Six of ten done leave four; of ten none, and then the independent operator takes none from nobody.
    met = replace(instance, trainees={"fellow": FELLOW, "early": replace(beginner, done=10)})
    assert whole_of(met, ways(monkeypatch)[way](met)) == {"fellow": 3}


def test_what_is_done_before_counts() -> None:
    cases = [eye(name) for name in "ABCD"]
    people = (replace(EARLY, target=8, done=7), replace(LATE, target=3))
    found = match(week(cases, [session("one")], people, wishes=EQUAL))
    assert whole_of(week(cases, trainees=people), found.lists) == {"early": 1, "late": 3}


def test_the_weights_say_what_they_trade() -> None:
    people = (replace(EARLY, target=2), FELLOW)
    one = week([eye("A", with_stage=ANYONE)], trainees=people, wishes=Wishes(placed=30, whole_operation=12))
    said = " ".join(trades(one))
    assert "A place for a case is worth 2.5 whole operations, 1.67 whole operations toward a target" in said
    assert (
        "150 days of waiting of a routine case" in said
        and "urgent case is worth 3 such places, for one that is soon 2.33, " in said
    )
    assert "urgency is not recorded 1.67." in said and "past its date" not in said
    assert "counts 18 up to a trainee's target and 4 beyond it; likewise 4 for fellow, while a target is open" in said
    plain = " ".join(trades(week([eye("A")], wishes=Wishes(waiting=0, whole_operation=20, urgency=0))))
    assert (
        "worth 1 whole operation," in plain
        and "waiting" not in plain
        and "urgent" not in plain
        and "target" not in plain
    )
