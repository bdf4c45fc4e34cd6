"""What one change would place a case: each change judged by the checker, and none missed that brute force finds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from lists.brute_force import everywhere
from lists.small_weeks import HARD, PEOPLE, SUPERVISORS, THURSDAY, TUESDAY, eye, key, lists, session, sets, week
from lists.test_match import HOOKS, INFEASIBLE, NEEDED, chance_week
from seeds import seeds

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.insertion import Assignment, attempt
from planner.lists.matching.match import match
from planner.lists.matching.reasons import why_none, why_not
from planner.lists.matching.suggestion import Opened, opened
from planner.lists.roster.shapes import KitSets
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance, Key, Lists

FULL = lists(*(f"one: {name} - consultant" for name in "BCDEFGH"))
EIGHT = [eye(name) for name in "ABCDEFGH"]
A_FREE_LATER = [session("one"), session("two", day=THURSDAY)]
# Weeks made by hand in which A has no place, and what a person could do about it.
WEEKS: dict[str, tuple[Instance, Lists, tuple[str, ...]]] = {
    "a full list, and another that takes one of its cases": (
        week([eye("A", **NEEDED), *EIGHT[1:]], A_FREE_LATER, trainees=()),
        FULL,
        ("B, right eye moves from one to two",),
    ),
    "a full list and no other": (week(EIGHT, [session("one")], trainees=()), FULL, ("minutes more for one",)),
    "the only set stands in the other room": (
        week([eye("A", kit=HOOKS)], [session("one", kit={"iris-hooks": sets(0)})]),
        Lists(()),
        ("A set in one",),
    ),
    "the set is not ready again": (
        week([eye("A", kit=HOOKS), eye("B", kit=HOOKS)], [session("one", kit={"iris-hooks": sets(1)})]),
        lists("one: B late consultant"),
        ("One more set in one",),
    ),
    "the set would be ready again after an easy one": (
        # One set, ready again after 40 minutes: one operation between the two is enough, after which they all fit.
        week(
            [eye("A", kit=HOOKS, order={"latex-first": True, "infection-last": False}), eye("B", kit=HOOKS), eye("C")],
            [session("one", kit={"iris-hooks": sets(1, 30)})],
        ),
        lists("one: B late consultant", "one: C late consultant"),
        ("Another order in one: A, right eye, C, right eye, B, right eye",),
    ),
    "no anaesthetist": (
        week([eye("A", anaesthetist=True)], [session("one")]), Lists(()), ("An anaesthetist for one",)
    ),
    "no consultant on the session": (
        week([eye("A", tier=3, with_stage=HARD)], [session("one", supervisors=["trainer"])]),
        Lists(()),
        ("consultant also supervises in one",),
    ),
    "the consultant is scrubbed in the other room": (
        week(
            [eye("A", tier=3, with_stage=HARD, kit=HOOKS), eye("B")],
            [session("one", kit={"iris-hooks": sets(0)}), session("two", kit={"iris-hooks": sets(1)})],
        ),
        lists("one: B early consultant"),
        ("B, right eye, in one, with other people: ", "B, right eye moves from one to two", "A set in one"),
    ),
    "agreement was never asked": (
        week([eye("A", agreement=None)], [session("one", supervisors=["trainer"])], supervisors=SUPERVISORS[1:]),
        Lists(()),
        ("Agreement to a trainee",),
    ),
    "consent is not recorded": (week([eye("A", consent=None)], [session("one")]), Lists(()), ("Consent to surgery",)),
    "one thing to settle": (
        week([eye("A", unsettled=("the pressure",))], [session("one")]), Lists(()), ("Once settled and recorded",)
    ),
    "the other eye is on the one list": (
        week([eye("A", patient="P"), eye("B", patient="P")], [session("one")]),
        lists("one: B late consultant"),
        ("Both eyes of P on one day",),
    ),
    "a set and a move": (
        week([eye("A", kit=HOOKS, **NEEDED), *EIGHT[1:]], [session("one", kit={"iris-hooks": sets(0)}),
             session("two", day=THURSDAY)], trainees=()),
        FULL,
        ("A set in one (Tue 1 December 2026 08:30, one): Iris hooks. And besides: B, right eye moves from one to two",),
    ),
    "refused, and nobody may operate alone": (
        week([eye("A", agreement=False)], [session("one", supervisors=["trainer"])], supervisors=SUPERVISORS[1:]),
        Lists(()),
        (),
    ),
    "too late on every day that has room": (
        week([eye("A", **NEEDED)], [session("one", minutes=30), session("two", day=THURSDAY)]),
        Lists(()),
        ("A, right eye 2 days past its date, if the organiser accepts it",),
    ),
    "two things to settle": (
        week([eye("A", unsettled=("the pressure", "the lids"))], [session("one")]), Lists(()), ()
    ),
}  # fmt: skip


@pytest.mark.parametrize(("instance", "placed", "says"), WEEKS.values(), ids=WEEKS)
def test_weeks_made_by_hand(instance: Instance, placed: Lists, says: tuple[str, ...]) -> None:
    assert check(instance, placed).stands
    blocked = why_not(instance, placed, key("A"))
    assert blocked.rules, "it has a place"
    told = [opening.says for opening in blocked.openings]
    assert all(any(each in one for one in told) for each in says), told
    assert bool(told) is bool(says), told
    assert_each_stands(instance, placed, key("A"))


@pytest.mark.parametrize(("instance", "kept"), [each[:2] for each in INFEASIBLE.values()], ids=INFEASIBLE)
def test_weeks_of_the_matching(instance: Instance, kept: Lists) -> None:
    assert_each_stands(instance, match(instance, kept).lists, key("A"))


@pytest.mark.parametrize("seed", seeds(40, 8))
def test_nothing_is_missed_that_brute_force_finds(seed: int) -> None:
    instance = chance_week(seed)
    found = match(instance)
    for blocked in found.blocked:
        each = assert_each_stands(instance, found.lists, blocked.case)
        possible = any(
            check(other, there).stands
            for other in one_thing_more(instance)
            for there, _ in everywhere(other, found.lists, blocked.case)
        )
        assert not possible or each, blocked.told


@pytest.mark.long
def test_the_chance_weeks_are_worth_testing() -> None:
    every = [match(chance_week(seed)) for seed in range(40)]
    blocked = [one for found in every for one in found.blocked]
    assert sum(bool(one.openings) for one in blocked) >= 10 and any(not one.openings for one in blocked)


def assert_each_stands(instance: Instance, placed: Lists, blocked: Key) -> list[Opened]:
    barred = [
        attempt(instance, placed, blocked, Assignment(session, trainee, supervisor))
        for session in instance.sessions
        for trainee in (*instance.trainees, None)
        for supervisor in instance.supervisors
    ]
    found = list(opened(instance, placed, blocked, barred))
    for one in found:
        assert one.opening.placing in one.lists.placings and check(one.instance, one.lists).stands, one.opening.says
        assert {p.case for p in one.lists.placings} == {p.case for p in placed.placings} | {blocked}
        elsewhere = {(p.case, p.session, p.trainee, p.supervisor) for p in one.lists.placings} - {
            (p.case, p.session, p.trainee, p.supervisor) for p in placed.placings
        }
        changed = sum(a != b for a, b in zip(instance.sessions.values(), one.instance.sessions.values(), strict=True))
        changed += one.instance.cases != instance.cases
        changed += one.lists.both_eyes_agreed != placed.both_eyes_agreed
        assert len(elsewhere) - 1 + changed <= (2 if "And besides" in one.opening.says else 1)
    return found


def one_thing_more(instance: Instance) -> Iterator[Instance]:
    """The same week with a set, an anaesthetist, a supervisor or an hour more in one session."""
    for name, one in instance.sessions.items():
        kit = {item: KitSets(sets=held.sets + 1) for item, held in one.kit.items()}
        changes: list[dict[str, object]] = [{"kit": kit}, {"anaesthetist": True}, {"minutes": one.minutes + 60}]
        changes += [{"supervisors": [*one.supervisors, other]} for other in instance.supervisors]
        for change in changes:
            yield replace(instance, sessions=instance.sessions | {name: one.model_copy(update=change)})


def test_what_is_fixed_is_not_moved() -> None:
    instance = week([eye("A", **NEEDED), *EIGHT[1:]], A_FREE_LATER, trainees=())
    free = why_not(instance, FULL, key("A"))
    held = why_not(instance, FULL, key("A"), frozenset(placing.case for placing in FULL.placings))
    assert any("moves from" in one.says for one in free.openings)
    assert not any("moves from" in one.says for one in held.openings) and held.openings


def test_cases_alike_are_told_in_their_own_names() -> None:
    instance = week([eye(name, kit=HOOKS) for name in "AB"], [session("one", kit={"iris-hooks": sets(0)})])
    both = why_none(Alike(instance), Lists(()), list(instance.cases))
    assert [one.openings[0].placing.case for one in both] == list(instance.cases)
    assert both == tuple(why_not(instance, Lists(()), each) for each in instance.cases)


def test_nobody_is_called_from_leave() -> None:
    away = (SUPERVISORS[0].model_copy(update={"leave": [TUESDAY]}), SUPERVISORS[1])
    instance = week([eye("A", tier=3, with_stage=HARD)], [session("one", supervisors=["trainer"])], PEOPLE, away)
    assert not why_not(instance, Lists(()), key("A")).openings


def test_each_of_a_kind_is_told_what_of_its_own_to_settle() -> None:
    """The rules take both for one kind, since either has something to settle; what that is differs."""
    cases = [eye("A", unsettled=("the pressure",)), eye("B", unsettled=("the lids",))]
    instance = week(cases, [session("one")], trainees=())
    of_a, of_b = why_none(Alike(instance), Lists(()), list(instance.cases))
    assert "the pressure" in of_a.openings[0].says and "the lids" in of_b.openings[0].says
    assert "the pressure" not in of_b.openings[0].says


def test_of_cases_alike_each_is_told_in_its_own_name_and_others_in_theirs() -> None:
    """Names within names: where 1 and 2 are alike, an opening that moves case 11 moves case 11 for both."""
    placed = lists(*(f"one: {name} - consultant" for name in ("11", "12", "13", "14", "15", "16", "17")))
    instance = week([eye(str(n)) for n in (1, 2, *range(11, 18))], A_FREE_LATER, trainees=())
    instance = replace(
        instance,
        cases={
            name: replace(case, **NEEDED) if name[0] in ("1", "2") else case for name, case in instance.cases.items()
        },
    )
    together = why_none(Alike(instance), placed, [key("1"), key("2")])
    for name, told in zip(("1", "2"), together, strict=True):
        says = [opening.says for opening in told.openings]
        assert "11, right eye moves from one to two" in " ".join(says)
        assert says == [opening.says for opening in why_not(instance, placed, key(name)).openings]
