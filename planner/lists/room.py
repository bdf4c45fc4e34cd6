"""What a session holds within its chance of overrun, worked out once as a table for the solver."""

from __future__ import annotations

from planner.lists.instance import Instance
from planner.lists.minutes import Time, chance_of_overrun

CENTS = 100  # hundredths of a minute


def times_in_use(instance: Instance) -> list[Time]:
    """The different operating times there are, shortest mean first."""
    stages = {trainee.stage for trainee in instance.trainees.values()}
    return sorted({instance.times[name] for name in (*stages, "consultant")})


def table(instance: Instance, minutes: int) -> list[tuple[int, ...]]:
    """Every list that a session of so many minutes holds: how many of each time in use, then the hundredths of a minute
    that devices may add before the chance of overrun passes the limit."""
    times = times_in_use(instance)
    found: list[tuple[int, ...]] = []
    seen: set[tuple[int, ...]] = set()
    waiting = [(0,) * len(times)]
    while waiting:  # A list that holds no more is not made longer, so every list that holds is met.
        counts = waiting.pop()
        if counts in seen:
            continue
        seen.add(counts)
        room = _room(instance, [time for time, count in zip(times, counts, strict=True) for _ in range(count)], minutes)
        if room < 0:
            continue
        found.append((*counts, room))
        waiting += [(*counts[:n], counts[n] + 1, *counts[n + 1 :]) for n in range(len(times))]
    return sorted(found)


def _room(instance: Instance, times: list[Time], minutes: int) -> int:
    """The most hundredths of a minute that may be added; -1 where not even 0 may."""
    turnover = len(times) * instance.turnover

    def holds(added: int) -> bool:
        return chance_of_overrun(times, turnover + added / CENTS, minutes) <= instance.overrun_chance

    if not holds(0):
        return -1
    low, high = 0, minutes * CENTS + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
