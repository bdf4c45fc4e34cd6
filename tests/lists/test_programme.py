"""The linear programme against textbook answers, and silent about it."""

from __future__ import annotations

import pytest

from planner.lists.matching.linear_programme import Programme


def glass() -> tuple[Programme, int, int, int]:
    """Two products, three plants: the opening example of Hillier and Lieberman (from memory), and a poor third."""
    programme = Programme()
    doors, windows, frames = (programme.variable(points, whole=True) for points in (3, 5, 1))
    programme.row([(1, doors), (1, frames)], 4)
    programme.row([(2, windows), (2, frames)], 12)
    programme.row([(3, doors), (2, windows)], 18)
    return programme, doors, windows, frames


def test_a_textbook_example() -> None:
    programme, doors, windows, frames = glass()
    assert programme.solve() and programme.at_most == pytest.approx(36)
    # The plants' hours are worth 0, 3/2 and 1: what a product takes from the optimum is its hours' worth less its own.
    assert [programme.loses(one) for one in (doors, windows, frames)] == pytest.approx([0, 0, 2 * 1.5 - 1])


def test_whole_numbers_take_it_down() -> None:
    # A sack of 8 holds one of 6 or one of 5; in parts it holds one and a third of the first.
    programme = Programme()
    dear, cheap = programme.variable(10, whole=True), programme.variable(7, whole=True)
    programme.row([(6, dear), (5, cheap)], 8)
    assert programme.solve() and programme.at_most == pytest.approx(10 * 8 / 6)
    programme.solve_whole(5)
    assert programme.at_most == pytest.approx(10)
    assert programme.loses(cheap) == pytest.approx(5 * 10 / 6 - 7), "prices are still those of parts"


def test_nothing_is_said_on_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    programme, *_ = glass()
    programme.solve()
    programme.solve_whole(5)
    print("after")
    assert capfd.readouterr().out == "after\n"
