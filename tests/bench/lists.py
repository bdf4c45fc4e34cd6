"""Lists: how near the best, and how long that takes, beside HiGHS on the same model and two simpler ways to fill lists.

Each way's lists are judged by the checker. What they are short of is the lowest bound that any of them found.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

import highspy
import numpy as np
from lists.small_weeks import eye, session, week

from bench.measure import Line, say
from bench.weeks import made
from planner.lists.matching.best import best
from planner.lists.matching.constraint_model import ConstraintModel
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling
from planner.lists.matching.match import filled, match
from planner.lists.matching.objective import of_lists
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance, Lists

GOALS = {
    (50, 8): "<= 10 s, proved",
    (200, 30): "<= 30 s, 0.7 %",
    (1000, 150): "<= 60 s, 2 %",
}
BOUNDLESS = 2**62  # the solver's whole numbers stand for no limit beyond this


@dataclass(frozen=True)
class Result:
    """Seconds taken, what the lists are worth (None: no lists), and what none are worth more than."""

    seconds: float
    worth: float | None
    bound: float = math.inf


def run(quick: bool) -> Iterator[Line]:
    yield known_optimum(4 if quick else 30)
    yield from usual(quick)
    sizes = (
        [(20, 4, 4, 2, 2.0, 1)] if quick
        else [(50, 8, 6, 3, 10.0, 5), (200, 30, 12, 6, 30.0, 3), (1000, 150, 30, 12, 60.0, 1)]
    )  # fmt: skip
    for cases, sessions, trainees, consultants, effort, weeks in sizes:
        found: dict[str, list[Result]] = {}
        for seed in range(1, weeks + 1):
            instance = made(cases, sessions, trainees, consultants, seed)
            say(f"lists: {cases} cases, {sessions} sessions, week {seed}")
            ways: dict[str, Callable[[], Result]] = {
                "ours": partial(searched, instance, effort),
                "most pressing first": partial(simply, instance, lambda one: filled(Alike(one))),
                "one list at a time": partial(simply, instance, list_by_list),
            }
            if cases < 1000:  # the whole of a larger model was not solved at all in the trials before
                ways["HiGHS, the same model"] = partial(highs, instance, effort)
                ways["the usual way"] = partial(simply, instance, lambda one: match(one).lists)
            for name, way in ways.items():
                found.setdefault(name, []).append(way())
        yield from lines(f"{cases} cases, {sessions} sessions", found, GOALS.get((cases, sessions), ""))


def usual(quick: bool) -> Iterator[Line]:
    """The usual way beside the best known, week by week: processor seconds, how far short in points, cases fewer."""
    for one in best_known()[: 1 if quick else None]:
        instance = made(one["cases"], one["sessions"], one["trainees"], one["consultants"], one["week"])
        which = f"{one['cases']} cases, {one['sessions']} sessions, week {one['week']}"
        say(f"lists: {which}, the usual way")
        start = time.process_time()
        found = match(instance)
        seconds = time.process_time() - start
        placed, more = len(found.lists.placings), found.more
        assert found.verdict.stands and more is not None
        yield Line(
            "lists", f"{which}: usual way, {placed} placed; "
            f"short {100 * max(0.0, 1 - found.worth / one['worth']):.2f} %, {max(0, one['placed'] - placed)} fewer; "
            f"proved: at most {more.as_good} more worth as much",
            seconds, f"best known: {one['placed']} placed, {one['worth']} points", goal="<= 3 %, 1 of 50",
        )  # fmt: skip


def best_known() -> list[dict[str, Any]]:
    """The weeks with the best lists that anybody found for them, as `best_known.json` tells."""
    weeks: list[dict[str, Any]] = json.loads((Path(__file__).parent / "best_known.json").read_text())["weeks"]
    return weeks


def lines(what: str, found: dict[str, list[Result]], goal: str) -> Iterator[Line]:
    bounds = [min(one.bound for one in week) for week in zip(*found.values(), strict=True)]

    def told(results: list[Result]) -> str:
        shorts = [1 - one.worth / bound for one, bound in zip(results, bounds, strict=True) if one.worth is not None]
        none = f", no lists in {len(results) - len(shorts)}" if len(shorts) < len(results) else ""
        proved = sum(one.worth is not None and one.worth >= one.bound - 0.05 for one in results)
        proofs = f", proved {proved} of {len(results)}" if any(math.isfinite(one.bound) for one in results) else ""
        middle = (
            f"short {100 * max(0.0, median(shorts)):.2f} % (worst {100 * max(0.0, *shorts, 0.0):.2f})" if shorts else ""
        )
        return f"{middle}{none}{proofs}"

    ours = found.pop("ours")
    seconds = median(one.seconds for one in ours)
    for name, results in found.items():
        theirs = median(one.seconds for one in results)
        yield Line(
            "lists", f"{what}: {told(ours)}", seconds, f"{name}: {told(results)}", theirs, seconds / theirs, goal
        )  # fmt: skip


def searched(instance: Instance, effort: float) -> Result:
    start = time.perf_counter()
    moments = []
    found = best(instance, effort=effort, progress=lambda worth, bound: moments.append(time.perf_counter()))
    assert found.verdict.stands
    # Until the last word of the search: the reasons that follow, case by case, are no part of it.
    return Result(moments[-1] - start, found.worth, found.bound)


def simply(instance: Instance, way: Callable[[Instance], Lists]) -> Result:
    start = time.perf_counter()
    lists = way(instance)
    seconds = time.perf_counter() - start
    assert check(instance, lists).stands
    return Result(seconds, of_lists(instance, lists))


def list_by_list(instance: Instance) -> Lists:
    """Each session filled before the next is looked at, as lists are often made by hand."""
    alike, lists = Alike(instance), Lists(())
    for name in instance.sessions:
        filling = Filling(alike, lists)
        for key in alike.waiting:
            if key not in lists.placed:
                filling.place(key, sessions=[name])
        lists = filling.lists
    return lists


def highs(instance: Instance, seconds: float) -> Result:
    """The model of all sessions at once, given to HiGHS instead; what hangs on the order of a list is left out."""
    start = time.perf_counter()
    model = ConstraintModel(Alike(instance))
    solver = highspy.Highs()
    solver.silent()
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", seconds)
    solver.passModel(as_programme(model.model.proto))
    solver.run()
    info = solver.getInfo()
    some = info.primal_solution_status == 2
    worth = -info.objective_function_value / model.scale if some else None
    return Result(time.perf_counter() - start, worth, -info.mip_dual_bound / model.scale)


def as_programme(proto: Any) -> Any:
    """The solver's own model as rows and columns. Everything in it is linear, or one or more of some variables."""
    programme = highspy.HighsLp()
    columns = len(proto.variables)
    cost = np.zeros(columns)
    cost[list(proto.objective.vars)] = list(proto.objective.coeffs)
    domains = [list(variable.domain) for variable in proto.variables]
    rows: list[tuple[list[tuple[int, int]], float, float]] = []
    for constraint in proto.constraints:
        if constraint.has_linear():
            low, *_, high = constraint.linear.domain
            terms = list(zip(constraint.linear.vars, constraint.linear.coeffs, strict=True))
            rows.append((terms, low if low > -BOUNDLESS else -math.inf, high if high < BOUNDLESS else math.inf))
            continue
        kind = next(one for one in ("exactly_one", "at_most_one", "bool_or") if getattr(constraint, f"has_{one}")())
        literals = list(getattr(constraint, kind).literals)
        negated = sum(literal < 0 for literal in literals)
        terms = [(literal, 1) if literal >= 0 else (-literal - 1, -1) for literal in literals]
        low = -math.inf if kind == "at_most_one" else 1 - negated
        rows.append((terms, low, math.inf if kind == "bool_or" else 1 - negated))
    programme.num_col_, programme.num_row_ = columns, len(rows)
    programme.col_cost_ = cost
    programme.col_lower_ = np.array([domain[0] for domain in domains], float)
    programme.col_upper_ = np.array([domain[-1] for domain in domains], float)
    programme.integrality_ = [highspy.HighsVarType.kInteger] * columns
    programme.row_lower_ = np.array([low for _, low, _ in rows], float)
    programme.row_upper_ = np.array([high for *_, high in rows], float)
    programme.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    programme.a_matrix_.start_ = np.cumsum([0, *(len(terms) for terms, *_ in rows)])
    programme.a_matrix_.index_ = np.array([column for terms, *_ in rows for column, _ in terms])
    programme.a_matrix_.value_ = np.array([value for terms, *_ in rows for _, value in terms], float)
    return programme


def known_optimum(sessions: int) -> Line:
    """Mornings of 240 minutes hold seven operations of a consultant each, and there are more cases than that."""
    cases = [eye(f"{number:03}", agreement=False) for number in range(7 * sessions + 5)]
    mornings = [session(f"s{number:02}", theatre=f"theatre {number}", supervisors=[f"consultant-{number}"])
                for number in range(sessions)]  # fmt: skip
    template = week([]).supervisors["consultant"]
    people = tuple(template.model_copy(update={"id": f"consultant-{number}"}) for number in range(sessions))
    start = time.perf_counter()
    found = best(week(cases, mornings, (), people), effort=10.0)
    seconds = time.perf_counter() - start
    assert found.proved and len(found.lists.placings) == 7 * sessions
    return Line("lists", f"known optimum: {7 * sessions} of {len(cases)} cases in {sessions} sessions, proved", seconds)
