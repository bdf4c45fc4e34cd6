"""The fewest values of a finding that show everything the rulebook can tell apart, and how bad each one is."""

from __future__ import annotations

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
    """The fewest values of a finding that show every pattern of its tests, mildest first; empty without tests."""
    tests = list(tests)
    if not tests:
        return ()
    chosen: dict[tuple[bool, ...], Any] = {}
    for value in _candidates(finding, tests):
        chosen.setdefault(tuple(compare(test, value) for test in tests), value)
    return tuple(sorted(chosen.values(), key=lambda value: harm(finding, value)))


def _candidates(finding: Finding, tests: list[Test]) -> list[Any]:
    if finding.kind not in ("number", "count"):
        return finding.enumerated
    assert finding.possible is not None
    low, high = finding.usual or finding.possible
    near = {*finding.around(test.limit for test in tests), *finding.possible}
    return sorted(near, key=lambda value: (not low <= value <= high, value))
