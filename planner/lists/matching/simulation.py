"""Lists run many times over: minutes of overrun and of idle theatre, so that one sees what the chance limit buys."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import exp
from random import Random

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import filled
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.week import Week

RUNS = 10_000
MEANS = ("chance", "overrun", "idle")  # of what is simulated, over all sessions


@dataclass(frozen=True)
class Simulated:
    """One session over all runs, in minutes. `overrun` and `idle` are means over every run, those without counted as 0.

    `late_in_ten` is the overrun that one run in ten reaches or passes; `chance` is simulated, `worked_out` is not.
    """

    session: str
    told: str
    cases: int
    chance: float
    worked_out: float
    overrun: float
    late_in_ten: float
    idle: float


@dataclass(frozen=True)
class UnderLimit:
    """The pool matched under one limit, over all sessions that then have a list.

    `ends_late` is the share of them that end late; `overrun` and `idle` are mean minutes of one, as in `Simulated`.
    """

    limit: float
    placed: int
    sessions: int
    ends_late: float
    overrun: float
    idle: float


def under_limits(instance: Instance, limits: Iterable[float], runs: int = RUNS, seed: int = 1) -> list[UnderLimit]:
    """What each chance of overrun buys and costs: the whole pool matched anew under it, then run."""
    results = []
    for limit in limits:
        lists = filled(Alike(replace(instance, overrun_chance=limit)))
        each = simulate(instance, lists, runs, seed)
        late, over, idle = (sum(getattr(one, of) for one in each) / (len(each) or 1) for of in MEANS)
        results.append(UnderLimit(limit, len(lists.placings), len(each), late, over, idle))
    return results


def simulate(instance: Instance, lists: Lists, runs: int = RUNS, seed: int = 1) -> list[Simulated]:
    """Each session run `runs` times. The same seed gives the same numbers, whatever other sessions there are."""
    week = Week(instance, lists)
    results = []
    for session in week.sessions:
        logs = [week.time(placing).log_parameters for placing in week.list_of(session.id)]
        room = session.minutes - week.fixed_minutes(session.id)
        normal = Random(f"{seed} {session.id}").gauss
        over = sorted(sum(exp(normal(mu, sigma)) for mu, sigma in logs) - room for _ in range(runs))
        results.append(
            Simulated(
                session=session.id,
                told=session.in_words,
                cases=len(logs),
                chance=sum(minutes > 0 for minutes in over) / runs,
                worked_out=week.chance_of_overrun(session.id),
                overrun=sum(minutes for minutes in over if minutes > 0) / runs,
                late_in_ten=max(0.0, over[runs * 9 // 10]),
                idle=sum(-minutes for minutes in over if minutes < 0) / runs,
            )
        )
    return results
