"""Three-valued logic against SQL's: SQLite's AND, OR and NOT over true, false and NULL are the outside reference."""

from __future__ import annotations

import doctest
import itertools
import sqlite3

import pytest

from planner import truth
from planner.truth import Truth, at_least, conjunction, disjunction, negation

ALL: tuple[Truth, ...] = (True, False, None)
TUPLES = [row for length in range(1, 5) for row in itertools.product(ALL, repeat=length)]


def sql(expression: str, values: tuple[Truth, ...]) -> Truth:
    """What SQLite makes of an expression with `?` for each value."""
    with sqlite3.connect(":memory:") as database:
        (found,) = database.execute(f"select {expression}", values).fetchone()
    return None if found is None else bool(found)


@pytest.mark.parametrize("values", TUPLES)
def test_all_and_any_are_those_of_sql(values: tuple[Truth, ...]) -> None:
    assert conjunction(values) is sql(" and ".join("?" * len(values)), values)
    assert disjunction(values) is sql(" or ".join("?" * len(values)), values)


@pytest.mark.parametrize("value", ALL)
def test_not_is_that_of_sql(value: Truth) -> None:
    assert negation(value) is sql("not ?", (value,))


@pytest.mark.parametrize("values", TUPLES)
def test_at_least_is_some_of_the_ways_to_choose_so_many(values: tuple[Truth, ...]) -> None:
    for number in range(1, len(values) + 1):
        chosen = list(itertools.combinations(values, number))
        some = " or ".join(f"({' and '.join('?' * number)})" for _ in chosen)
        assert at_least(number, values) is sql(some, tuple(itertools.chain(*chosen))), number


@pytest.mark.parametrize("values", TUPLES)
def test_an_unknown_is_known_just_when_both_ways_agree(values: tuple[Truth, ...]) -> None:
    ways = list(itertools.product(*((True, False) if value is None else (value,) for value in values)))
    for together in (conjunction, disjunction, lambda row: at_least(2, row)):
        outcomes = {together(way) for way in ways}
        assert together(values) is (outcomes.pop() if len(outcomes) == 1 else None)


def test_nothing_to_hold_holds_and_nothing_to_choose_from_does_not() -> None:
    assert (conjunction([]), disjunction([]), at_least(1, [])) == (True, False, False)


def test_the_tables_shown_are_true() -> None:
    assert doctest.testmod(truth).failed == 0
    assert doctest.testmod(truth).attempted >= 6
