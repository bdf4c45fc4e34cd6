"""The simulation: the same numbers from the same seed, and near what is worked out."""

from __future__ import annotations

import math

import pytest
from lists.small_weeks import PEOPLE, eye, lists, session, week

from planner.lists.matching.simulation import RUNS, simulate, under_limits
from planner.lists.week.instance import Instance, Lists

NAMES = "ABCDEFGH"
INSTANCE = week([eye(name) for name in NAMES], [session("one"), session("two", day="2026-12-03")])


def by_consultant(number: int) -> Lists:
    return lists(*(f"one: {name} - consultant" for name in NAMES[:number]))


@pytest.mark.parametrize("number", [1, 5, 7, 8])
def test_both_chances_agree(number: int) -> None:
    (found,) = simulate(INSTANCE, by_consultant(number))
    # Four standard errors of a share among so many runs, and the grid's own error.
    allowed = 4 * math.sqrt(found.worked_out * (1 - found.worked_out) / RUNS) + 0.001
    assert abs(found.chance - found.worked_out) <= allowed


def test_minutes_add_up() -> None:
    (found,) = simulate(INSTANCE, by_consultant(7))
    # Over all runs, overrun less idle is expected minutes less the session's: 7 x (19 + 9.67) - 240.
    assert found.overrun - found.idle == pytest.approx(7 * (19 + 9.67) - 240, abs=4 * math.sqrt(7) * 10 / 100)
    assert found.late_in_ten == 0 and found.cases == 7


def test_a_longer_list_overruns_more_and_idles_less() -> None:
    (seven,), (eight,) = simulate(INSTANCE, by_consultant(7)), simulate(INSTANCE, by_consultant(8))
    assert eight.overrun > seven.overrun and eight.idle < seven.idle and eight.late_in_ten > 0


def test_the_seed_decides_and_other_sessions_do_not() -> None:
    one = simulate(INSTANCE, by_consultant(5), runs=500)
    assert one == simulate(INSTANCE, by_consultant(5), runs=500)
    assert one != simulate(INSTANCE, by_consultant(5), runs=500, seed=2)
    more = Lists((*by_consultant(5).placings, *lists("two: H - consultant").placings))
    assert simulate(INSTANCE, more, runs=500)[:1] == one


def test_nothing_to_run() -> None:
    empty: Instance = INSTANCE
    assert simulate(empty, Lists(())) == []


def test_what_a_limit_buys() -> None:
    # 240 minutes hold 7 operations of a consultant within one chance in ten, so more under a looser limit.
    instance = week([eye(f"{n:02}", agreement=False) for n in range(12)], [session("one")], PEOPLE[:1])
    tight, usual, loose = under_limits(instance, [0.01, 0.1, 0.5], runs=4000)
    assert (usual.placed, usual.sessions) == (7, 1)
    assert tight.placed < usual.placed < loose.placed
    assert tight.ends_late < usual.ends_late < loose.ends_late and tight.idle > usual.idle > loose.idle
    assert usual.ends_late < 0.1 + 0.02 and loose.overrun > usual.overrun
