"""The rulebook's conditions compiled to Python source, three-valued, each comparison made once a case.

A case is a list of typed values in vocabulary order, None where not recorded. `core(values)` returns the truths
of everything that scores, and the bounds of every total; `options(values, truths)` which option of each choice wins or
is open; `rest(values, truths, options)` the truths of what only the plan needs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Any

from planner.assess.code_writer import FunctionWriter
from planner.conditions import (
    NUMBER_TESTS,
    Condition,
    FactorHolds,
    OptionWins,
    Test,
    compare,
    findings_in,
    rebuild,
    walk,
)
from planner.harm import harm
from planner.rulebook.rulebook import Rulebook
from planner.truth import Truth
from planner.vocabulary import Finding

Values = list[Any]
Truths = tuple[Truth, ...]
Bounds = tuple[tuple[float, float], ...]
# Members (place, weight) of which only the heaviest counts, one list a group.
Groups = list[list[tuple[int, float]]]
# Totals of which the greatest group counts; of all others the sum does.
GREATEST = ("floor", "raise")


class Compiled:
    """A rulebook made ready to judge cases; `assessor(rulebook).compiled` is made once for each rulebook."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        findings = rulebook.vocabulary.findings
        self.index = {finding.id: place for place, finding in enumerate(findings)}
        self.asked = {f.id: f.asked_when for f in findings if f.asked_when is not None}
        core, options, rest = dict(_core(rulebook)), dict(_options(rulebook)), dict(_rest(rulebook))
        self.conditions: dict[str, Condition] = {**core, **options, **rest}
        self.core_names = tuple(core)
        self.place, self.option_place, self.rest_place = (
            {name: place for place, name in enumerate(names)} for names in (core, options, rest)
        )
        self.totals = _totals(rulebook, self.place)
        self.core: Callable[[Values], tuple[Truths, Bounds]] = self._compile_core(core)
        named = {name: f"s[{place}]" for name, place in self.place.items()}
        self.options: Callable[[Values, Truths], Truths] = self._compile("v, s", named, options)
        named |= {name: f"o[{place}]" for name, place in self.option_place.items()}
        self.rest: Callable[[Values, Truths, Truths], Truths] = self._compile("v, s, o", named, rest)
        self.asked_tests = {self.index[name]: self.function_of(condition) for name, condition in self.asked.items()}
        self.hidden_tests = {
            self.index[f.id]: self.function_of(f.hidden_when) for f in findings if f.hidden_when is not None
        }
        # The findings, as places, that each finding, named condition and total can depend on.
        self.depends_of_finding = {name: self._places(rulebook.reach_of(name)) for name in self.index}
        self.depends = {name: self._places(rulebook.reach(each)) for name, each in self.conditions.items()}
        for total, groups in self.totals.items():
            members = (self.depends[self.core_names[place]] for group in groups for place, _ in group)
            self.depends[total] = frozenset().union(*members)
        self.cells = told_apart(findings, (*self.conditions.values(), *self.asked.values()))
        self.by_depth = sorted(range(len(findings)), key=lambda place: (self.depth(place), place))

    def _places(self, findings: Iterable[str]) -> frozenset[int]:
        return frozenset(self.index[name] for name in findings)

    @cached_property
    def planned_by(self) -> frozenset[int]:
        """The findings, as places, on which an option or a line of a step can depend."""
        lines = (name for name in self.rest_place if name.startswith("line:"))
        return frozenset().union(*(self.depends[name] for name in (*self.option_place, *lines)))

    @cached_property
    def number_tests(self) -> dict[str, tuple[Test, ...]]:
        """Every comparison of each number with a limit, in any condition."""
        of_finding: dict[str, dict[Test, None]] = {}
        for condition in self.conditions.values():
            for part in walk(condition):
                if isinstance(part, Test) and part.how in NUMBER_TESTS:
                    of_finding.setdefault(part.finding, {})[part] = None
        return {name: tuple(tests) for name, tests in of_finding.items()}

    def _compile_core(self, conditions: dict[str, Condition]) -> Any:
        source = FunctionWriter(self.index, {}, self.asked)
        for name, condition in conditions.items():
            source.named[name] = source.expression(condition)
        results = list(source.named.values())
        bounds = []
        for total, groups in self.totals.items():
            ends = []
            for state in ("is True", "is not False"):
                members = [_heaviest([(results[place], weight) for place, weight in group], state) for group in groups]
                greatest = f"max({', '.join([*members, '0', '0'])})"
                ends.append(greatest if total in GREATEST else " + ".join(members) or "0")
            bounds.append(f"({', '.join(ends)})")
        return source.compiled("core", "v", f"(({', '.join(results)},), ({', '.join(bounds)},))")

    def _compile(self, arguments: str, named: dict[str, str], conditions: dict[str, Condition]) -> Any:
        source = FunctionWriter(self.index, named, self.asked)
        results = [source.expression(condition) for condition in conditions.values()]
        return source.compiled("truths", arguments, f"({', '.join(results)},)")

    def function_of(self, condition: Condition) -> Callable[[Values], Truth]:
        """One condition compiled by itself, with the factors and options it rests on written in."""
        source = FunctionWriter(self.index, {}, self.asked)
        result = source.expression(self._spelled_out(condition))
        function: Callable[[Values], Truth] = source.compiled("one", "v", result)
        return function

    def _spelled_out(self, condition: Condition) -> Condition:
        def leaf(part: Condition) -> Condition:
            return self._spelled_out(self.rulebook.behind(part)) if isinstance(part, FactorHolds | OptionWins) else part

        return rebuild(condition, leaf)

    def depends_of_asked(self, place: int) -> frozenset[int]:
        """The findings, as places, that decide whether a finding applies at all."""
        asked = self.rulebook.vocabulary.findings[place].asked_when
        return frozenset() if asked is None else self._places(findings_in(asked))

    def depth(self, place: int) -> int:
        """How many findings stand in a row behind one that hangs on others; 0 for one that is always asked."""
        behind = self.depends_of_asked(place)
        return 1 + max(self.depth(other) for other in behind) if behind else 0

    def applies(self, place: int, values: Values) -> Truth:
        """Whether a finding is asked in this eye at all."""
        asked = self.asked_tests.get(place)
        return True if asked is None else asked(values)


class EyeTruths:
    """Three-valued truths of one eye by the names of conditions; `options`, where others than its own are written."""

    def __init__(
        self, compiled: Compiled, values: Values, core: Truths | None = None, options: Truths | None = None
    ) -> None:
        self.compiled = compiled
        self.values = values
        self.core = compiled.core(values)[0] if core is None else core
        self._as_planned = options

    @cached_property
    def options(self) -> Truths:
        return self.compiled.options(self.values, self.core) if self._as_planned is None else self._as_planned

    @cached_property
    def rest(self) -> Truths:
        return self.compiled.rest(self.values, self.core, self.options)

    def with_options(self, options: Truths) -> EyeTruths:
        return EyeTruths(self.compiled, self.values, self.core, options)

    def truth(self, name: str) -> Truth:
        """The truth of a condition such as `factor:id`, `open:choice.option` or `caution:id`."""
        made = self.compiled
        if name in made.place:
            return self.core[made.place[name]]
        if name in made.option_place:
            return self.options[made.option_place[name]]
        return self.rest[made.rest_place[name]]


def _heaviest(members: list[tuple[str, float]], state: str) -> str:
    if len(members) == 1:
        name, weight = members[0]
        return f"({weight!r} if {name} {state} else 0)"
    chain = "0"
    for name, weight in sorted(members, key=lambda member: member[1]):
        chain = f"{weight!r} if {name} {state} else {chain}"
    return f"({chain})"


def _core(rulebook: Rulebook) -> Iterable[tuple[str, Condition]]:
    done: set[str] = set()

    def factor(name: str) -> Iterable[tuple[str, Condition]]:
        if name in done:
            return
        done.add(name)
        when = rulebook.factors[name].when
        for part in walk(when):
            if isinstance(part, FactorHolds):
                yield from factor(part.factor)
        yield f"factor:{name}", when

    for name in rulebook.factors:
        yield from factor(name)
    for term in rulebook.odds.terms:
        for place, level in enumerate(term.levels):
            yield f"level:{term.id}:{place}", level.when
    for score in rulebook.scores:
        for item in score.items:
            yield f"item:{score.id}:{item.id}", item.when
    for rise in rulebook.interactions.raises:
        yield f"raise:{rise.id}", rise.when
    for pair in rulebook.vocabulary.impossible_together:
        yield f"impossible:{pair.id}", pair.when


def _options(rulebook: Rulebook) -> Iterable[tuple[str, Condition]]:
    for name, condition in rulebook.wins.items():
        yield f"option:{name}", condition
    for name, condition in rulebook.eligible.items():
        yield f"open:{name}", condition


def _rest(rulebook: Rulebook) -> Iterable[tuple[str, Condition]]:
    for rule in rulebook.interactions.rules:
        yield f"rule:{rule.id}", rule.when
    for step in rulebook.steps:
        for line in step.lines:
            yield f"line:{step.id}:{line.id}", line.when
    for drill in rulebook.drills.values():
        yield f"drill:{drill.id}", drill.likely_when
        for place, likely in enumerate(drill.likely):
            yield f"drill:{drill.id}:{place}", likely.when
    for caution in rulebook.cautions.values():
        yield f"caution:{caution.id}", caution.when
    for drug in rulebook.kit.drugs:
        for against in drug.withhold:
            yield f"drug:{drug.id}:{against.id}", against.when
    for settle in rulebook.readiness.settle:
        yield f"settle:{settle.id}", settle.when
    for place, asked in enumerate(rulebook.theatre.recheck):
        yield f"recheck:{place}", asked.when
    for override in rulebook.supervision.overrides:
        yield f"override:{override.id}", override.when


def _totals(rulebook: Rulebook, place: dict[str, int]) -> dict[str, Groups]:
    """The totals whose bounds `core` gives: points, log odds, floor, raise, and each published score."""

    def grouped(members: Iterable[tuple[str, float, str | None]]) -> Groups:
        groups: dict[str, list[tuple[int, float]]] = {}
        for name, weight, group in members:
            if weight:
                groups.setdefault(group or name, []).append((place[name], weight))
        return list(groups.values())

    factors = rulebook.factors.values()
    levels = [
        (f"level:{term.id}:{n}", math.log(level.odds_ratio), term.counts_once_with or term.id)
        for term in rulebook.odds.terms
        for n, level in enumerate(term.levels)
    ]
    totals = {
        "points": grouped((f"factor:{f.id}", f.points, f.counts_once_with) for f in factors),
        "log-odds": grouped(levels),
        "floor": grouped((f"factor:{f.id}", f.floor.tier, None) for f in factors if f.floor),
        "raise": grouped((f"raise:{r.id}", r.tiers, None) for r in rulebook.interactions.raises),
    }
    for score in rulebook.scores:
        totals[f"score:{score.id}"] = grouped((f"item:{score.id}:{item.id}", item.points, None) for item in score.items)
    return totals


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
