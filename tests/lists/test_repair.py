"""The morning of: the smallest change by brute force on small days, and nothing touched that need not be."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import permutations, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lists.small_weeks import THURSDAY, TUESDAY, eye, key, session, week

from planner.lists.changed import changes
from planner.lists.checker import check
from planner.lists.happened import Added, Away, Begun, Cancelled, Changed, Happened, aftermath
from planner.lists.instance import Instance, Lists, Placing
from planner.lists.match import match
from planner.lists.repair import repair
from planner.lists.roster import Supervisor

SUPERVISORS = (
    Supervisor(id="consultant", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="second", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="trainer", grade="trainer", can=["scrubbed", "in-theatre", "on-site"]),
)


def small(*cases: Any, **changed: Any) -> Instance:
    sessions = [
        session("one", supervisors=["consultant", "trainer"]),
        session("two", supervisors=["second"]),
        session("later", day=THURSDAY, supervisors=["consultant", "second", "trainer"]),
    ]
    return week(list(cases), sessions, supervisors=SUPERVISORS, **changed)


def test_nothing_happened_nothing_changes() -> None:
    instance = small(eye("A"), eye("B"))
    lists = match(instance).lists
    found = repair(instance, lists, Happened())
    assert (found.lists, found.changes, found.broken, found.off) == (lists, (), (), ())
    assert found.proved and found.verdict.stands


@pytest.fixture
def three() -> tuple[Instance, Lists]:
    instance = small(eye("A"), eye("B", urgency="urgent"), eye("C"))
    placings = [
        ("one", 1, "A", "late", "trainer"),
        ("one", 2, "B", "early", "trainer"),
        ("two", 1, "C", None, "second"),
    ]
    lists = Lists(tuple(Placing(s, n, key(c), t, by) for s, n, c, t, by in placings))
    assert check(instance, lists).stands
    return instance, lists


def away(who: str, instead: str | None = None) -> Happened:
    return Happened(away=[Away(who=who, day=TUESDAY, instead=instead, because="ill")])


HAPPENED = {
    "the trainer": away("trainer"),
    "the trainer, and another comes": away("trainer", "second"),
    "a trainee": away("late"),
    "the only supervisor of a room": away("second"),
    "the first room": Happened(changed=[Changed(session="one", lost=True, because="no water")]),
    "the second room": Happened(changed=[Changed(session="two", lost=True, because="no water")]),
    "half of the time": Happened(changed=[Changed(session="one", minutes=60, because="the scrub nurse goes")]),
    "a cancellation": Happened(cancelled=[Cancelled(case="A", eye="right", because="did not come")]),
    "two things": Happened(
        away=[Away(who="consultant", day=TUESDAY, because="ill"), Away(who="early", day=TUESDAY, because="ill")]
    ),
}


@pytest.mark.parametrize("name", HAPPENED)
def test_the_change_is_the_smallest_there_is(three: tuple[Instance, Lists], name: str) -> None:
    instance, lists = three
    happened = HAPPENED[name]
    found = repair(instance, lists, happened)
    assert found.verdict.stands and found.proved
    kept = Lists(tuple(p for p in lists.placings if p.case not in {(c.case, c.eye) for c in happened.cancelled}))
    assert cost_of(found.instance, kept, found.lists) == least_by_brute_force(instance, lists, happened)


def test_who_comes_instead_takes_over_and_nobody_moves(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    found = repair(instance, lists, away("trainer", "consultant"))
    assert {(one.case[0], one.kind) for one in found.changes} == {("A", "people"), ("B", "people")}
    assert {one.rule for one in found.broken} == {"supervisor-fits"}


def test_the_routine_case_comes_off_before_the_urgent_one() -> None:
    instance = small(eye("A"), eye("B", urgency="urgent"))
    lists = Lists((Placing("one", 1, key("A"), "late", "trainer"), Placing("one", 2, key("B"), "late", "trainer")))
    happened = Happened(
        changed=[
            Changed(session="one", minutes=60, because="the theatre opens late"),
            Changed(session="two", lost=True, because="no water"),
        ]
    )
    found = repair(instance, lists, happened)
    [(off, _, later)] = found.off
    assert off == key("A") and later is not None and later.session == "later"
    assert [placing.case for placing in found.lists.placings] == [key("B")]


def test_an_urgent_add_on_is_placed_and_the_least_gives_way() -> None:
    cases = [eye(f"A{n}") for n in range(1, 7)]
    urgent = eye("U", urgency="urgent")
    instance = small(*cases, urgent)
    one = Lists(tuple(Placing("one", n, case.key, "late", "trainer") for n, case in enumerate(cases, 1)))
    happened = Happened(added=[Added(case="U", eye="right", day=TUESDAY, because="a tense white lens")])
    found = repair(instance, one, happened)
    assert {(change.case, change.kind) for change in found.changes} == {(key("U"), "new")}
    lost = Happened(
        added=[Added(case="U", eye="right", day=TUESDAY, session="one", because="a tense white lens")],
        changed=[Changed(session="two", lost=True, because="no water")],
    )
    found = repair(instance, one, lost)
    kinds = Counter(change.kind for change in found.changes)
    assert found.verdict.stands and kinds["new"] == 1 and kinds["off"] == len(found.off)
    assert kinds["session"] == kinds["order"] == 0


def test_what_is_begun_or_locked_stays(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    happened = away("late").model_copy(update={"begun": [Begun(case="A", eye="right")]})
    found = repair(instance, lists, happened)
    assert found.lists == lists and not found.verdict.stands and not found.proved
    locked = repair(instance, lists, away("second"), locked=frozenset({key("C")}))
    assert key("C") in {placing.case for placing in locked.lists.placings} and not locked.verdict.stands


def test_other_days_are_left_as_they_are(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    instance = replace(instance, cases=instance.cases | {key("D"): eye("D")})
    thursday = Placing("later", 1, key("D"), "late", "trainer")
    lists = replace(lists, placings=(*lists.placings, thursday))
    for happened in HAPPENED.values():
        assert thursday in repair(instance, lists, happened).lists.placings


PEOPLE = st.sampled_from(["consultant", "second", "trainer", "early", "late"])
AWAY = st.lists(PEOPLE, max_size=3, unique=True)


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 6), AWAY, st.sampled_from([None, "one", "two"]), st.sampled_from([None, 60, 120, 300]))
def test_a_repaired_list_always_stands(count: int, who: list[str], lost: str | None, minutes: int | None) -> None:
    instance = small(*(eye(f"A{n}", urgency="urgent" if n % 2 else "routine") for n in range(count)))
    lists = match(instance).lists
    changed = [Changed(session=lost, lost=True, because="no water")] if lost else []
    changed += [Changed(session="one", minutes=minutes, because="late")] if minutes and lost != "one" else []
    happened = Happened(away=[Away(who=name, day=TUESDAY, because="ill") for name in who], changed=changed)
    found = repair(instance, lists, happened)
    assert found.verdict.stands
    assert {p.case for p in found.lists.placings} | {off for off, _, _ in found.off} == {p.case for p in lists.placings}
