"""What no lists can be worth more than, however large the pool: a linear programme that drops most rules.

Kinds of cases go into sessions, in parts if need be, each at its best pair; a session holds a mixture of the
fullest lists within the chance limit. Rules about people, kit and order are dropped, and so is what
uneven shares take away: nothing that the checker lets stand is worth more.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import Any

from ortools.linear_solver import pywraplp

from planner.lists import room
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.likeness import Alike
from planner.lists.trials import Option
from planner.lists.week import Week
from planner.lists.worth import is_whole, of_placing

_Kind = tuple[int, Any]


def bound(instance: Instance, possible: dict[Key, list[Option]], kept: Lists) -> float:
    """In the unit's points; infinite where the programme was not solved."""
    alike, week = Alike(instance), Week(instance, kept)
    solver = pywraplp.Solver.CreateSolver("GLOP")
    counts: Counter[_Kind] = Counter()
    first: dict[_Kind, Key] = {}
    for key in possible:
        published = key if key in instance.as_published else None
        sort: _Kind = alike.kind(key), (instance.cases[key].last_day, published)
        counts[sort] += 1
        first.setdefault(sort, key)
    of_kind: dict[_Kind, list[Any]] = defaultdict(list)
    of_session: dict[str, list[tuple[float, Any]]] = defaultdict(list)
    objective = solver.Objective()
    for sort, key in first.items():
        best: dict[tuple[str, float], float] = {}
        for option in possible[key]:
            placing = Placing(option.session, 1, key, option.trainee, option.supervisor)
            where = option.session, week.time(placing).mean
            best[where] = max(best.get(where, 0.0), sum(of_placing(instance, placing).values()))
        for (session, minutes), points in best.items():
            share = solver.NumVar(0, counts[sort], "")
            objective.SetCoefficient(share, points)
            of_kind[sort].append(share)
            of_session[session].append((minutes, share))
    for sort, shares in of_kind.items():
        solver.Add(sum(shares) <= counts[sort])
    means = [time.mean for time in room.times_in_use(instance)]
    fullest: dict[int, list[tuple[int, ...]]] = {}
    for name, entries in of_session.items():
        minutes = instance.sessions[name].minutes
        if minutes not in fullest:
            fullest[minutes] = _fullest([row[:-1] for row in room.table(instance, minutes)])
        mixed = [solver.NumVar(0, 1, "") for _ in fullest[minutes]]
        solver.Add(sum(mixed) <= 1)
        here = Counter(week.time(placing).mean for placing in week.list_of(name))
        for n, mean in enumerate(means):
            held = sum(row[n] * share for row, share in zip(fullest[minutes], mixed, strict=True))
            solver.Add(sum(share for each, share in entries if each == mean) + here[mean] <= held)
    # Each whole operation towards a target counts once, whoever has it; a consultant's own are let through too.
    targets = sum(learner.target or 0 for learner in instance.trainees.values())
    towards = solver.NumVar(0, targets, "")
    placed = [share for shares in of_kind.values() for share in shares]
    solver.Add(towards <= sum(placed) + sum(is_whole(instance, p.case, p.trainee) for p in kept.placings))
    objective.SetCoefficient(towards, instance.wishes.toward_target)
    objective.SetMaximization()
    if solver.Solve() != pywraplp.Solver.OPTIMAL:
        return float("inf")
    fixed = sum(sum(of_placing(instance, placing).values()) for placing in kept.placings)
    return float(objective.Value()) + fixed


def _fullest(rows: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Those lists, as counts by operating time, to which no operation can be added."""
    every = set(rows)
    return [row for row in rows if not any((*row[:n], row[n] + 1, *row[n + 1 :]) in every for n in range(len(row)))]
