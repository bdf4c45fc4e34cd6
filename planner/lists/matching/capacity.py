"""What a session holds within its chance of overrun, worked out once as a table for the solver."""

from __future__ import annotations

import datetime
import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Container
from functools import lru_cache
from operator import le

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance
from planner.lists.week.overrun import Time, chance_of_overrun

CENTS = 100  # hundredths of a minute


def times_in_use(instance: Instance) -> list[Time]:
    """The different operating times there are, shortest mean first."""
    stages = {trainee.stage for trainee in instance.trainees.values()}
    return sorted({instance.times[name] for name in (*stages, "consultant")})


def table(instance: Instance, minutes: int) -> tuple[tuple[int, ...], ...]:
    """Every list that a session of so many minutes holds: how many of each time in use, then the hundredths of a minute
    that devices may add before the chance of overrun passes the limit."""
    return _table(tuple(times_in_use(instance)), instance.turnover, instance.overrun_chance, minutes)


@lru_cache(maxsize=256)
def _table(times: tuple[Time, ...], turnover: float, limit: float, minutes: int) -> tuple[tuple[int, ...], ...]:
    rows: list[tuple[int, ...]] = []
    seen: set[tuple[int, ...]] = set()
    waiting = [(0,) * len(times)]
    while waiting:  # A list that holds no more is not made longer, so every list that holds is met.
        counts = waiting.pop()
        if counts in seen:
            continue
        seen.add(counts)
        mine = [time for time, count in zip(times, counts, strict=True) for _ in range(count)]
        spare = _spare(mine, len(mine) * turnover, limit, minutes)
        if spare < 0:
            continue
        rows.append((*counts, spare))
        waiting += [(*counts[:n], counts[n] + 1, *counts[n + 1 :]) for n in range(len(times))]
    return tuple(sorted(rows))


def fullest(instance: Instance, minutes: int, added: Collection[float]) -> list[tuple[int, ...]]:
    """The rows of the table that hold whatever any row holds, where devices add minutes of these sizes alone.

    The last number is the most of these minutes, in hundredths, that fit into what the list leaves to spare.
    """
    sizes = frozenset(math.floor(each * CENTS) for each in added) - {0}
    return _fullest(tuple(times_in_use(instance)), instance.turnover, instance.overrun_chance, minutes, sizes)


@lru_cache(maxsize=256)
def _fullest(
    times: tuple[Time, ...], turnover: float, limit: float, minutes: int, added: frozenset[int]
) -> list[tuple[int, ...]]:
    rows = _table(times, turnover, limit, minutes)
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
    counted = session.kit[item]
    again, times = counted.ready_again_after, times_in_use(instance)
    if again is None:
        return counted.sets
    longest = _longest(
        tuple(times), instance.turnover, instance.overrun_chance, session.minutes, instance.most_added
    )  # fmt: skip
    shortest = min(time.mean for time in times)
    return counted.sets * (1 + max(0, math.floor((longest - shortest - instance.turnover) / (again + shortest))))


@lru_cache(maxsize=256)
def _longest(times: tuple[Time, ...], turnover: float, limit: float, minutes: int, most_added: float) -> float:
    """Expected minutes of the longest list that holds, each operation with the most that devices add."""
    return max(
        sum(count * (time.mean + turnover) for count, time in zip(row, times, strict=False))
        + min(row[-1] / CENTS, sum(row[:-1]) * most_added)
        for row in _table(times, turnover, limit, minutes)
    )


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
