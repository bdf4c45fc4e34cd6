"""From a model of the solver to the plainest case that shows the same: unremarkable wherever it may be."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator, Sequence
from typing import Any

import z3

from planner.conditions import NUMBER_TESTS, Test, Value, compare
from planner.harm import harm
from planner.rulebook.proof.symbols import Prover, Symbols
from planner.rulebook.proof.variables import Formula, is_so
from planner.rulebook.references import every_part
from planner.rulebook.rulebook import Rulebook
from planner.vocabulary import Finding, Outside

ANY_DAY = datetime.date(2026, 1, 5)
Values = dict[str, Value | None]


class ValuesToTry:
    """For each finding of a rulebook the values to try, the least remarkable first."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.tests: dict[str, dict[Test, None]] = {}
        for *_, part in every_part(rulebook):
            if isinstance(part, Test):
                self.tests.setdefault(part.finding, {})[part] = None

    def values(self, finding: Finding) -> list[Value]:
        first = finding.plain_value if finding.unremarkable is None else finding.read(finding.unremarkable)
        return list(dict.fromkeys(value for value in [first, *self._others(finding)] if value is not None))

    def _others(self, finding: Finding) -> list[Any]:
        match finding.kind:
            case "number" | "count":
                return self._numbers(finding)
            case "date":
                return [ANY_DAY]
            case "text":
                return ["recorded"]
        return sorted(finding.enumerated, key=lambda value: harm(finding, value))

    def _numbers(self, finding: Finding) -> list[float]:
        """A value between each two limits, then the limits and a step to both sides; the fewest tests passed first."""
        assert finding.possible is not None
        low, high = finding.possible
        step = finding.step or 1.0
        tests = [test for test in self.tests.get(finding.id, {}) if test.how in NUMBER_TESTS]
        limits = {low, high, *(test.limit for test in tests)}
        if isinstance(finding.worse, Outside):
            limits |= set(finding.worse.outside)
        ends = sorted(limits)
        middle = sum(finding.usual or finding.possible) / 2
        between = [middle, *((a + b) / 2 for a, b in itertools.pairwise(ends))]
        clear = {round(round(value / step) * step, 6) for value in between} - limits
        near = set(finding.around(limits))

        def remarkable(value: float) -> tuple[int, bool, float]:
            return sum(compare(test, value) for test in tests), value not in clear, abs(value - middle)

        return sorted((float(value) for value in clear | near if low <= value <= high), key=remarkable)


def plainest(
    prover: Prover, plain: ValuesToTry, cases: Sequence[Symbols], formulas: Sequence[Formula]
) -> tuple[list[Values], z3.ModelRef]:
    """The plainest values of cases for which the formulas hold, as they must; such as a case file gives, if any."""
    with prover.given(formulas):
        # The case beside last, so that what two cases share is settled before what tells them apart.
        named = ((case, name) for case in cases for name in prover.rulebook.vocabulary.by_id if name in case.own)
        tries = [[z3.And(case.as_filed())] for case in cases] + [[*_tries(case, plain, name)] for case, name in named]
        model = prover.settled(tries)
    return [read(case, model) for case in cases], model


def _tries(case: Symbols, plain: ValuesToTry, name: str) -> Iterator[Formula]:
    finding, variable, recorded = case.rulebook.vocabulary.by_id[name], case.variables[name], case.recorded[name]
    if finding.asked_when is None:
        yield from (variable.equals(value) for value in plain.values(finding))
        return
    if finding.unremarkable is None:
        yield z3.Not(recorded)
    yield from (z3.And(recorded, variable.equals(value)) for value in plain.values(finding))
    yield z3.Not(recorded)


def read(case: Symbols, model: z3.ModelRef) -> Values:
    """Every finding with its value in a model, None where it is not recorded."""
    return {
        name: variable.value(model) if is_so(model, case.recorded[name]) else None
        for name, variable in case.variables.items()
    }


def as_file(rulebook: Rulebook, plain: ValuesToTry, values: Values, then: Values | None = None) -> dict[str, Any]:
    """The case as its file holds it, sections looked through: the remarkable, and what is hidden here or in `then`."""
    findings: dict[str, str] = {}

    def hidden(finding: Finding) -> bool:
        cases = [values] if then is None else [values, then]
        when = finding.hidden_when
        return when is not None and any(rulebook.judge(when, case) is not False for case in cases)

    for finding in rulebook.vocabulary.findings:
        if finding.id not in plain.tests and not finding.essential:
            continue
        value = values[finding.id]
        unremarkable = None if finding.unremarkable is None else finding.read(finding.unremarkable)
        if value is None and unremarkable is not None:
            findings[finding.id] = "not-recorded"
        elif value is not None and (value != unremarkable or hidden(finding)):
            findings[finding.id] = finding.written(value)
    sections = [section.id for section in rulebook.vocabulary.sections]
    return {"case": "counter-example", "eye": "right", "none_found_in": sections, "findings": findings}


def differences(rulebook: Rulebook, before: Values, after: Values) -> dict[str, str | None]:
    """What a second case records otherwise; None where it records nothing."""
    changed: dict[str, str | None] = {}
    for finding in rulebook.vocabulary.findings:
        value = after[finding.id]
        if value != before[finding.id]:
            changed[finding.id] = None if value is None else finding.written(value)
    return changed
