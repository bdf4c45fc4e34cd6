"""A rule that comes anew, reading what no other reads, entered in the registry and nowhere else: matching keeps it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest
from lists.brute_force import most_placed
from lists.small_weeks import PEOPLE, eye, session, week

from planner.lists.matching import match as matching
from planner.lists.matching.best import best
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import match
from planner.lists.matching.reasons import why_not
from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken, ListRule, rule
from planner.lists.week.instance import Instance, Placing
from planner.lists.week.week import Week

STRONG = 25.0  # dioptres


def strong(week: Week, placing: Placing) -> bool:
    return (week.case(placing).lens_power or 0) >= STRONG


@rule("strong lenses lie in room one", "case.lens_power", scope="case")
def strong_in_room_one(week: Week) -> Iterator[Broken]:
    for placing in week.lists.placings:
        if strong(week, placing) and placing.session != "one":
            yield strong_in_room_one.broken(placing, "{at}: a strong lens.", "Move it to room one.")


@rule("one strong lens a list", "case.lens_power", scope="list")
def one_strong_a_list(week: Week) -> Iterator[Broken]:
    for held in week.sessions:
        if (count := sum(strong(week, placing) for placing in week.list_of(held.id))) > 1:
            yield one_strong_a_list.broken(held.id, "{at}: {count} strong lenses.", "Move one.", count=count)


@rule("one strong lens a day", "case.lens_power", "session.day")
def one_strong_a_day(week: Week) -> Iterator[Broken]:
    met = set[object]()
    for held in week.sessions:
        for placing in week.list_of(held.id):
            if strong(week, placing) and held.day in met:
                yield one_strong_a_day.broken(placing, "{at}: a second strong lens.", "Move it.")
            met |= {held.day} if strong(week, placing) else set()


NEW = (strong_in_room_one, one_strong_a_list, one_strong_a_day)


def enter(monkeypatch: pytest.MonkeyPatch, new: ListRule) -> None:
    monkeypatch.setattr(RULES, "every", (*RULES.every, new))


def two_rooms(powers: list[float]) -> Instance:
    """Cases alike but for the power of their lenses, and room for three on each of two lists."""
    cases = [eye(f"{n}", lens_power=power) for n, power in enumerate(powers)]
    rooms = [session("one", minutes=120), session("two", minutes=120)]
    return week(cases, rooms, trainees=PEOPLE[1:2])


@pytest.mark.parametrize("new", NEW, ids=lambda new: new.id)
@pytest.mark.parametrize("solved", [True, False], ids=["with the solver", "without"])
@pytest.mark.parametrize("powers", [[21, 28, 28, 21], [28, 28, 28, 28], [28, 21, 21, 21, 28, 28, 21, 28]], ids=str)
def test_matching_keeps_a_new_rule_and_places_all_that_it_lets_stand(
    monkeypatch: pytest.MonkeyPatch, new: ListRule, solved: bool, powers: list[float]
) -> None:
    if not solved:
        monkeypatch.setattr(matching, "solver", lambda: None)
    fit = Counter(placing.session for placing in match(two_rooms([21] * 8)).lists.placings)
    enter(monkeypatch, new)
    instance = two_rooms(powers)
    found = match(instance).lists
    assert check(instance, found).stands
    many = sum(power >= STRONG for power in powers)
    most = {strong_in_room_one.id: 3, one_strong_a_list.id: 2, one_strong_a_day.id: 1}[new.id]
    assert max(fit.values()) == 3 and len(found.placings) == min(fit.total(), len(powers) - many + min(many, most))


@pytest.mark.parametrize("new", NEW, ids=lambda new: new.id)
def test_the_longer_search_keeps_it_too(monkeypatch: pytest.MonkeyPatch, new: ListRule) -> None:
    enter(monkeypatch, new)
    instance = two_rooms([28, 28, 21, 28])
    found = best(instance, effort=3)
    assert found.verdict.stands and found.bound >= found.worth
    assert (
        len(found.lists.placings) == {strong_in_room_one.id: 4, one_strong_a_list.id: 3, one_strong_a_day.id: 2}[new.id]
    )


@pytest.mark.parametrize("new", NEW, ids=lambda new: new.id)
def test_brute_force_places_no_more(monkeypatch: pytest.MonkeyPatch, new: ListRule) -> None:
    enter(monkeypatch, new)
    instance = two_rooms([28, 21, 28])
    assert len(match(instance).lists.placings) == most_placed(instance)


def test_what_it_reads_makes_kinds(monkeypatch: pytest.MonkeyPatch) -> None:
    instance = two_rooms([21, 28, 21])
    assert [Alike(instance).kind(key) for key in instance.cases] == [0, 0, 0]
    enter(monkeypatch, one_strong_a_day)
    alike = Alike(instance)
    assert [alike.kind(key) for key in instance.cases] == [0, 1, 0]


def test_why_a_case_has_no_place_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    enter(monkeypatch, one_strong_a_day)
    instance = two_rooms([28, 28])
    barred = why_not(instance, match(instance).lists, ("1", "right"))
    assert barred.rules == (one_strong_a_day.id,)
