"""The fewest values of a finding that show everything the rulebook can tell apart, and how bad each one is."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import Any

from planner.conditions import Condition, Test, compare, walk
from planner.harm import harm
from planner.vocabulary import Finding


def told_apart(findings: Iterable[Finding], conditions: Iterable[Condition]) -> list[tuple[Any, ...]]:
    """For each finding one value for every way the conditions can tell its values apart, mildest first."""
    tests: dict[str, dict[Test, None]] = {}
    for condition in conditions:
        for part in walk(condition):
            if isinstance(part, Test) and part.how != "recorded":
                tests.setdefault(part.finding, {})[part] = None
    return [decisive(finding, tests.get(finding.id, {})) for finding in findings]


def decisive(finding: Finding, tests: Iterable[Test]) -> tuple[Any, ...]:
    """The fewest values of a finding that show every pattern of its tests, mildest first; empty without tests.

    Candidates are each limit and the values one step of the instrument below and above it, and the ends of the
    possible range.
    """
    tests = list(tests)
    if not tests:
        return ()
    chosen: dict[tuple[bool, ...], Any] = {}
    for value in _candidates(finding, tests):
        chosen.setdefault(tuple(compare(test, value) for test in tests), value)
    return tuple(sorted(chosen.values(), key=lambda value: harm(finding, value)))


def _candidates(finding: Finding, tests: list[Test]) -> list[Any]:
    match finding.kind:
        case "yes-no":
            return [False, True]
        case "choice":
            return list(finding.values)
        case "set":
            sizes = range(len(finding.values) + 1)
            return [frozenset(some) for size in sizes for some in itertools.combinations(finding.values, size)]
        case "number" | "count":
            assert finding.possible is not None
            low, high = finding.possible
            step = finding.step or 1.0
            limits = [test.limit for test in tests]
            near = {round(limit + shift, 6) for limit in limits for shift in (-step, 0.0, step)} | {low, high}
            middle = finding.usual or finding.possible
            return sorted((v for v in near if low <= v <= high), key=lambda v: (not middle[0] <= v <= middle[1], v))
    return []
