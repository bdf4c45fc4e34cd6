"""The chance of overrun against a simulation, and against numbers worked out elsewhere."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

import pytest
from lists.small_weeks import TIMES, TURNOVER

from planner.lists.week.overrun import Time, chance_of_overrun

C, S, J = TIMES["consultant"], TIMES["independent"], TIMES["early"]
SESSION = 240
# Independent lognormals with these means and spreads, turnover fixed, 400,000 draws elsewhere (each within 0.002).
DRAWN_ELSEWHERE = {
    "7 consultant": ([C] * 7, 0.079),
    "8 consultant": ([C] * 8, 0.321),
    "5 consultant and 2 junior": ([C] * 5 + [J] * 2, 0.241),
    "6 junior": ([J] * 6, 0.44),
    "7 senior": ([S] * 7, 0.404),
}


def chance(times: list[Time]) -> float:
    return chance_of_overrun(times, len(times) * TURNOVER, SESSION)


def simulated(times: list[Time], room: float, runs: int = 100_000) -> float:
    draw = random.Random(7).lognormvariate
    logs = [time.log_parameters for time in times]
    return sum(sum(draw(mu, sigma) for mu, sigma in logs) > room for _ in range(runs)) / runs


@pytest.mark.parametrize(("times", "expected"), DRAWN_ELSEWHERE.values(), ids=DRAWN_ELSEWHERE)
def test_against_draws_made_elsewhere(times: list[Time], expected: float) -> None:
    assert chance(times) == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize(("time", "most"), [(C, 7), (S, 6), (J, 5)], ids=["consultant", "senior", "junior"])
def test_how_many_cases_a_session_holds(time: Time, most: int) -> None:
    # 240 minutes, turnover 9.67, one chance in ten: 7 consultant, 6 senior or 5 junior cases.
    assert max(n for n in range(1, 12) if chance([time] * n) <= 0.1) == most


def test_nearer_to_a_simulation_than_a_normal_curve() -> None:
    times = [C] * 7
    normal = 1 - NormalDist(7 * 19, math.sqrt(7) * 10).cdf(SESSION - 7 * TURNOVER)
    drawn = simulated(times, SESSION - 7 * TURNOVER)
    assert abs(chance(times) - drawn) < 0.004 < abs(normal - drawn)


@pytest.mark.parametrize("minutes", [20.0, 33.3, 61.7, 90.25])
def test_one_operation_is_the_lognormal_itself(minutes: float) -> None:
    mu, sigma = C.log_parameters
    assert chance_of_overrun([C], 0, minutes) == pytest.approx(
        1 - NormalDist(mu, sigma).cdf(math.log(minutes)), abs=0.002
    )


def test_mean_and_spread_are_kept() -> None:
    mu, sigma = C.log_parameters
    assert math.exp(mu + sigma**2 / 2) == pytest.approx(19)
    assert math.sqrt((math.exp(sigma**2) - 1) * math.exp(2 * mu + sigma**2)) == pytest.approx(10)


def test_ends_and_direction() -> None:
    assert chance_of_overrun([], 10, 10) == 0 and chance_of_overrun([], 11, 10) == 1
    assert chance_of_overrun([C], 240, 240) == 1
    assert chance_of_overrun([C], 0, 0.2) == pytest.approx(1, abs=1e-3)
    found = [chance_of_overrun([C, J], 0, minutes) for minutes in range(5, 700, 5)]
    assert found == sorted(found, reverse=True) and 0 <= found[-1] < 1e-4
    assert chance([J, C, S]) == chance([S, C, J])
