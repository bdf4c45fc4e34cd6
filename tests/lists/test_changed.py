"""What differs between two versions of the lists, on weeks small enough to see it."""

from __future__ import annotations

from itertools import permutations

import pytest
from lists.small_weeks import key

from planner.lists.changes.differences import changes
from planner.lists.week.instance import Lists, Placing


def lists(**sessions: str) -> Lists:
    """`one="A B:late"`: A and then B, with the trainee late."""
    return Lists(
        tuple(
            Placing(session, n, key(word.partition(":")[0]), word.partition(":")[2] or None, "consultant")
            for session, words in sessions.items()
            for n, word in enumerate(words.split(), 1)
        )
    )


def told(before: Lists, after: Lists) -> set[tuple[str, str]]:
    return {(change.case[0], change.kind) for change in changes(before, after)}


def test_the_same_lists_differ_in_nothing() -> None:
    assert told(lists(one="A B", two="C"), lists(one="A B", two="C")) == set()


def test_each_kind() -> None:
    assert told(lists(one="A B"), lists(one="A B C")) == {("C", "new")}
    assert told(lists(one="A B C"), lists(one="B C")) == {("A", "off")}
    assert told(lists(one="A B", two="C"), lists(one="A B C")) == {("C", "session")}
    assert told(lists(one="A B"), lists(one="A B:late")) == {("B", "people")}


def test_moving_up_because_one_before_came_off_is_no_change() -> None:
    assert told(lists(one="A B C D"), lists(one="X B C D")) == {("X", "new"), ("A", "off")}
    assert told(lists(one="A B C D"), lists(one="D A B C")) == {("D", "order")}


@pytest.mark.parametrize("after", [" ".join(order) for order in permutations("ABCD")])
def test_as_few_as_can_have_changed_places(after: str) -> None:
    """Beside brute force: all but the largest set of cases that stand in their old order."""
    order = after.split()
    kept = max(
        sum(bits)
        for bits in ([n >> i & 1 for i in range(4)] for n in range(16))
        if (left := [case for case, bit in zip(order, bits, strict=True) if bit]) == sorted(left)
    )
    assert len(told(lists(one="A B C D"), lists(one=after))) == 4 - kept
