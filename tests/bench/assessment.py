"""Assessing: the core with its trace, and the whole assessment of each demonstration case, afresh and remembered."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from random_cases import as_case, complete_values

from bench.measure import Line, say
from planner.assess.assess import Assessor
from planner.case import Case
from planner.exchange.case_reader import ReadCase, read_cases
from planner.rulebook.load import shipped
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
TRACED_GOAL, WHOLE_GOAL = "<= 150 us", "<= 5 ms"
FIRST = """
import sys, time
from pathlib import Path
from planner.assess.assess import assessor
from planner.exchange.case_reader import read_cases
from planner.rulebook.load import shipped
from planner.unit import read_unit
rulebook = shipped()
ready = assessor(rulebook)
unit = read_unit(Path(sys.argv[2]), rulebook)
[item] = read_cases(sys.argv[1], rulebook.vocabulary)
start = time.perf_counter()
ready.assess(item.case, unit, None)
print(time.perf_counter() - start)
"""


def run(quick: bool) -> Iterator[Line]:
    ready = Assessor(shipped())
    yield from traced(ready, *((20, 3) if quick else (300, 15)))
    yield from whole(ready, 3 if quick else 15, every=9 if quick else 1)
    yield first_in_a_process(DEMO / "cases" / "half-filled.yaml", 1 if quick else 5)


def traced(ready: Assessor, cases: int, rounds: int) -> Iterator[Line]:
    """Truths, bounds and the words of every factor, a case at a time."""
    say("assessment: the core with its trace")
    draw = random.Random(2)
    drawn = [
        (as_case(ready.compiled, values), values)
        for values in (
            [None if draw.random() < 0.1 else value for value in complete_values(ready.compiled, draw)]
            for _ in range(cases)
        )
    ]

    def every_case(afresh: bool) -> float:
        taken = 0.0
        for case, values in drawn:
            if afresh:
                ready.tracer._said.clear()
            start = time.perf_counter()
            truths, _ = ready.compiled.core(values)
            ready.tracer.factors(case, values, truths)
            taken += time.perf_counter() - start
        return taken / cases

    afresh = median(every_case(afresh=True) for _ in range(rounds))
    every_case(afresh=False)
    kept = median(every_case(afresh=False) for _ in range(rounds))
    yield Line("traced assessment", "every word new", afresh)
    yield Line("traced assessment", "words met before", kept, goal=TRACED_GOAL)


def whole(ready: Assessor, rounds: int, every: int) -> Iterator[Line]:
    """Ranges, missing, levers and all, for a unit with its own audit; what was found before is forgotten, or kept."""
    say("assessment: each demonstration case, and one with nothing recorded")
    unit = read_unit(DEMO / "unit.yaml", ready.rulebook)
    cases = {path.stem: read(path, ready) for path in sorted((DEMO / "cases").glob("*.yaml"))[::every]}
    cases["nothing recorded"] = Case("B-1", "right", {})
    for name, case in cases.items():
        ready.assess(case, unit, None)
        afresh, kept = [], []
        for _ in range(rounds):
            ready.completions._known.clear()
            ready.tracer._said.clear()
            for taken in (afresh, kept):
                start = time.perf_counter()
                ready.assess(case, unit, None)
                taken.append(time.perf_counter() - start)
        yield Line("whole assessment", name, median(afresh), "met before", median(kept), goal=WHOLE_GOAL)


def first_in_a_process(path: Path, runs: int) -> Line:
    """The first assessment of a process, which also makes what all later ones use; the rulebook is loaded already."""
    say("assessment: the first of a process")
    command = [sys.executable, "-c", FIRST, str(path), str(DEMO / "unit.yaml")]
    taken = [float(subprocess.run(command, check=True, capture_output=True, text=True).stdout) for _ in range(runs)]
    return Line("whole assessment", f"{path.stem}, first of a process", median(taken))


def read(path: Path, ready: Assessor) -> Case:
    (item,) = read_cases(str(path), ready.rulebook.vocabulary)
    assert isinstance(item, ReadCase), item
    return item.case
