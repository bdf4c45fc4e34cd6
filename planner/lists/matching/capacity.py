"""What a session holds within its chance of overrun, worked out once as a table for the solver."""

from __future__ import annotations

import datetime
import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Container
from dataclasses import dataclass
from functools import lru_cache
from operator import le

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance
from planner.lists.week.overrun import Time, chance_of_overrun

CENTS = 100  # hundredths of a minute


@dataclass(frozen=True)
class OperatingTimes:
    """The different operating times there are, shortest mean first, turnover, and the chance of overrun allowed."""

    times: tuple[Time, ...]
    turnover: float
    limit: float


def times_of(instance: Instance) -> OperatingTimes:
    """What the tables of an instance are worked out from."""
    stages = {trainee.stage for trainee in instance.trainees.values()}
    times = sorted({instance.times[name] for name in (*stages, "consultant")})
    return OperatingTimes(tuple(times), instance.turnover, instance.overrun_chance)


@lru_cache(maxsize=256)
def table(use: OperatingTimes, minutes: int) -> tuple[tuple[int, ...], ...]:
    """Every list that a session of so many minutes holds: how many of each time in use, then the hundredths of a minute
    that devices may add before the chance of overrun passes the limit."""
    rows: list[tuple[int, ...]] = []
    seen: set[tuple[int, ...]] = set()
    waiting = [(0,) * len(use.times)]
    while waiting:  # A list that holds no more is not made longer, so every list that holds is met.
        counts = waiting.pop()
        if counts in seen:
            continue
        seen.add(counts)
        mine = [time for time, count in zip(use.times, counts, strict=True) for _ in range(count)]
        spare = _spare(mine, len(mine) * use.turnover, use.limit, minutes)
        if spare < 0:
            continue
        rows.append((*counts, spare))
        waiting += [(*counts[:n], counts[n] + 1, *counts[n + 1 :]) for n in range(len(counts))]
    return tuple(sorted(rows))


@lru_cache(maxsize=256)
def fullest(use: OperatingTimes, minutes: int, added: frozenset[int]) -> list[tuple[int, ...]]:
    """The rows of the table that hold whatever any row holds, where devices add hundredths of a minute of these sizes.

    The last number is the most of these hundredths that fit into what the list leaves to spare.
    """
    rows = table(use, minutes)
    most = max(row[-1] for row in rows)
    sums, longest = {0}, max(sum(row[:-1]) for row in rows)
    for _ in range(longest):
        sums |= {one + each for one in sums for each in added if one + each <= most}
    steps = sorted(sums)
    cut = {(*row[:-1], steps[bisect_right(steps, row[-1]) - 1]) for row in rows}
    return sorted(
        row for row in cut
        if not any(other != row and all(map(le, row, other)) for other in cut)
    )  # fmt: skip


def uses(instance: Instance, session: Session, item: str) -> int:
    """How often the counted sets of an item could be used at the very most, whatever the order of the list."""
    counted, use = session.kit[item], times_of(instance)
    again = counted.ready_again_after
    if again is None:
        return counted.sets
    longest, shortest = _longest(use, session.minutes, instance.most_added), min(time.mean for time in use.times)
    return counted.sets * (1 + max(0, math.floor((longest - shortest - use.turnover) / (again + shortest))))


@lru_cache(maxsize=256)
def _longest(use: OperatingTimes, minutes: int, most_added: float) -> float:
    """Expected minutes of the longest list that holds, each operation with the most that devices add."""
    return max(
        sum(count * (time.mean + use.turnover) for count, time in zip(row, use.times, strict=False))
        + min(row[-1] / CENTS, sum(row[:-1]) * most_added)
        for row in table(use, minutes)
    )


def cents(minutes: float) -> int:
    """Whole hundredths of a minute, so that nothing counts for more than it takes."""
    return math.floor(minutes * CENTS)


def together(instance: Instance, named: Container[str]) -> list[list[str]]:
    """Groups of these sessions that run at one moment, at least two."""
    of_day: dict[datetime.date, list[Session]] = defaultdict(list)
    for session in instance.sessions.values():
        if session.id in named:
            of_day[session.day].append(session)
    groups = {
        tuple(other.id for other in of_day[one.day] if other.span[0] <= one.span[0] < other.span[1])
        for sessions in of_day.values()
        for one in sessions
    }
    return [list(group) for group in sorted(groups) if len(group) > 1]


def _spare(times: list[Time], turnover: float, limit: float, minutes: int) -> int:
    """The most hundredths of a minute that may be added; -1 where not even 0 may."""

    def holds(added: int) -> bool:
        return chance_of_overrun(times, turnover + added / CENTS, minutes) <= limit

    if not holds(0):
        return -1
    low, high = 0, minutes * CENTS + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
