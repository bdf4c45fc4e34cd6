"""How long a list takes: the chance that it overruns, from each operator's own minutes.

Operating times are independent and lognormal with a published mean and standard deviation; turnover and what a device
adds are fixed. Their sum has no closed form, so it is worked out cell by cell on a grid of one minute. A normal curve
of the same mean and spread says too little where few long operations decide it (tests/lists/test_overrun.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from operator import mul
from statistics import NormalDist

_STANDARD = NormalDist()


@dataclass(frozen=True, order=True)
class Time:
    """Operating minutes of one operator: mean and standard deviation."""

    mean: float
    sd: float

    @property
    def log_parameters(self) -> tuple[float, float]:
        """Mean and standard deviation of the logarithm, so that the minutes have this mean and spread.

        >>> [round(value, 4) for value in Time(19, 10).log_parameters]
        [2.8222, 0.4945]
        """
        variance = math.log(1 + (self.sd / self.mean) ** 2)
        return math.log(self.mean) - variance / 2, math.sqrt(variance)


def chance_of_overrun(times: Sequence[Time], fixed: float, minutes: float) -> float:
    """The chance that operations of these times, and so many fixed minutes beside, take longer than the session."""
    room = minutes - fixed
    if not times:
        return 0.0 if room >= 0 else 1.0
    if room <= 0:
        return 1.0
    below = _below(tuple(sorted(times)), math.ceil(minutes))
    # Cell k holds what lies within half a minute of k, so its running sum is the chance of at most k + 1/2.
    place = min(room - 0.5, len(below) - 1.0)
    if place <= 0:
        return 1 - below[0] * room / 0.5 if room < 0.5 else 1 - below[0]
    low = math.floor(place)
    high = min(low + 1, len(below) - 1)
    return max(0.0, 1 - (below[low] + (place - low) * (below[high] - below[low])))


@lru_cache(maxsize=4096)
def _below(times: tuple[Time, ...], last: int) -> tuple[float, ...]:
    total, sums = 0.0, []
    for cell in _cells(times, last):
        total += cell
        sums.append(total)
    return tuple(sums)


@lru_cache(maxsize=4096)
def _cells(times: tuple[Time, ...], last: int) -> tuple[float, ...]:
    """The chance of each whole minute of the sum, from 0 up to the last."""
    if len(times) == 1:
        mu, sigma = times[0].log_parameters
        ends = [_STANDARD.cdf((math.log(k + 0.5) - mu) / sigma) for k in range(last + 1)]
        return (ends[0], *(after - before for before, after in pairwise(ends)))
    one, backwards = _cells(times[:-1], last), _cells(times[-1:], last)[::-1]
    return tuple(sum(map(mul, one[: k + 1], backwards[last - k :])) for k in range(last + 1))
