"""Moving by hand: one case moves, the order of all others stays, and every list is counted from 1."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from lists.small_weeks import key

from planner.lists.matching.insertion import Assignment, moved, put, taken_off
from planner.lists.week.instance import Lists, Placing

CASES = "ABCDEF"
LISTS = st.permutations(CASES).flatmap(lambda order: st.integers(1, 6).map(lambda cut: (order[:cut], order[cut:])))


def lists(one: list[str], two: list[str]) -> Lists:
    return Lists(
        tuple(Placing(session, n, key(case), "late", "trainer") for session, cases in (("one", one), ("two", two))
              for n, case in enumerate(cases, 1))
    )  # fmt: skip


def order(held: Lists, session: str) -> list[str]:
    own = sorted(placing for placing in held.placings if placing.session == session)
    assert [placing.place for placing in own] == list(range(1, len(own) + 1))
    return [placing.case[0] for placing in own]


@given(LISTS, st.sampled_from(CASES), st.integers(1, 7), st.sampled_from(["one", "two"]))
def test_putting_a_case_somewhere_moves_no_other_past_another(
    cut: tuple[list[str], list[str]], case: str, place: int, session: str
) -> None:
    made = put(lists(*cut), key(case), Assignment(session, None, "consultant"), place)
    here = [other for other in (cut[0] if session == "one" else cut[1]) if other != case]
    assert order(made, session) == [*here[: place - 1], case, *here[place - 1 :]]
    there = [other for other in (cut[1] if session == "one" else cut[0]) if other != case]
    assert order(made, "two" if session == "one" else "one") == there
    own = next(placing for placing in made.placings if placing.case == key(case))
    assert (own.trainee, own.supervisor) == (None, "consultant")


@given(LISTS, st.sampled_from(CASES))
def test_off_and_up_and_down(cut: tuple[list[str], list[str]], case: str) -> None:
    held = lists(*cut)
    off = taken_off(held, key(case))
    assert order(off, "one") + order(off, "two") == [other for other in cut[0] + cut[1] if other != case]
    down = moved(held, key(case), 1)
    own = cut[0] if case in cut[0] else cut[1]
    if own[-1] == case:
        assert down == moved(held, key(case), 0)
    else:
        assert set(moved(down, key(case), -1).placings) == set(held.placings)


def test_other_people_keep_the_place() -> None:
    held = lists(["A", "B", "C"], [])
    assert order(put(held, key("B"), Assignment("one", None, "consultant")), "one") == ["A", "B", "C"]
