"""The rulebook's conditions compiled to Python source, three-valued, each comparison made once a case.

A case is a list of typed values in vocabulary order, None where not recorded. `core(values)` returns the truths
of everything that scores, and the bounds of every total; `rest(values, truths)` the truths of what only the plan needs.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from typing import Any

from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test, compare, walk
from planner.rulebook.rulebook import Rulebook
from planner.truth import Truth, at_least
from planner.vocabulary import Finding, Ordered

Values = list[Any]
Truths = tuple[Truth, ...]
Bounds = tuple[tuple[float, float], ...]


class _Source:
    """Writes the body of one generated function; each distinct comparison becomes one local variable."""

    def __init__(self, index: dict[str, int], named: dict[str, str], asked: dict[str, Condition]) -> None:
        self.index = index
        self.named = named  # `factor:id` or `option:id` -> expression
        self.asked = asked
        self.lines: list[str] = []
        self.constants: dict[str, Any] = {"_at_least": at_least}
        self.locals: dict[Any, str] = {}

    def local(self, key: Any, expression: str) -> str:
        if key not in self.locals:
            name = f"t{len(self.locals)}"
            self.lines.append(f"{name} = {expression}")
            self.locals[key] = name
        return self.locals[key]

    def value(self, finding: str) -> str:
        return self.local(("value", finding), f"v[{self.index[finding]}]")

    def constant(self, value: Any) -> str:
        if isinstance(value, bool | float | str):
            return repr(value)
        name = f"K{len(self.constants)}"
        self.constants[name] = value
        return name

    def asked_truth(self, finding: str) -> str | None:
        if finding not in self.asked:
            return None
        return self.local(("asked", finding), self.expression(self.asked[finding]))

    def test(self, test: Test) -> str:
        value = self.value(test.finding)
        asked = self.asked_truth(test.finding)
        if test.how == "recorded":
            if test.limit:
                return self.local(test, f"{value} is not None")
            return self.local(test, f"{value} is None" + (f" and {asked} is not False" if asked else ""))
        unknown = self.local(("unknown", test.finding), f"False if {asked} is False else None") if asked else "None"
        match test.how:
            case "is" if test.limit is True:
                passed = value
            case "is" if test.limit is False:
                passed = f"not {value}"
            case "is":
                passed = f"{value} == {self.constant(test.limit)}"
            case "is_one_of":
                passed = f"{value} in {self.constant(test.limit)}"
            case "includes":
                passed = f"not {value}.isdisjoint({self.constant(test.limit)})"
            case how:
                sign = {"less_than": "<", "at_most": "<=", "at_least": ">=", "more_than": ">"}[how]
                passed = f"{value} {sign} {self.constant(test.limit)}"
        if passed == value and unknown == "None":
            return value
        return self.local(test, f"{unknown} if {value} is None else {passed}")

    def expression(self, condition: Condition) -> str:
        """A local name or literal holding the condition's truth."""
        match condition:
            case Test():
                return self.test(condition)
            case FactorHolds(factor):
                return self.named[f"factor:{factor}"]
            case OptionWins(option):
                return self.named[f"option:{option}"]
            case All(()):
                return "True"
            case All(parts):
                names = list(dict.fromkeys(self.expression(part) for part in parts))
                if len(names) == 1:
                    return names[0]
                some_false = " or ".join(f"{name} is False" for name in names)
                some_unknown = " or ".join(f"{name} is None" for name in names)
                return self.local(condition, f"False if {some_false} else None if {some_unknown} else True")
            case Any_(parts):
                names = list(dict.fromkeys(self.expression(part) for part in parts))
                if len(names) == 1:
                    return names[0]
                some_true = " or ".join(f"{name} is True" for name in names)
                some_unknown = " or ".join(f"{name} is None" for name in names)
                return self.local(condition, f"True if {some_true} else None if {some_unknown} else False")
            case NumberOf(parts, number):
                names = [self.expression(part) for part in parts]
                return self.local(condition, f"_at_least({number}, ({', '.join(names)},))")
            case Not(part):
                name = self.expression(part)
                return self.local(condition, f"None if {name} is None else not {name}")

    def compiled(self, name: str, arguments: str, returned: str) -> Any:
        body = "\n    ".join([*self.lines, f"return {returned}"])
        source = f"def {name}({arguments}):\n    {body}\n"
        space = dict(self.constants)
        exec(compile(source, f"<{name} compiled from the rulebook>", "exec"), space)
        return space[name]


class Compiled:
    """A rulebook made ready to assess cases. Build once with `compiled(rulebook)`."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        findings = rulebook.vocabulary.findings
        self.index = {finding.id: place for place, finding in enumerate(findings)}
        self.asked = {f.id: f.asked_when for f in findings if f.asked_when is not None}
        self.core_names, self.core_conditions = zip(*_core(rulebook), strict=True)
        self.place = {name: place for place, name in enumerate(self.core_names)}
        self.rest_names, self.rest_conditions = zip(*_rest(rulebook), strict=True)
        self.rest_place = {name: place for place, name in enumerate(self.rest_names)}
        self.totals = _totals(rulebook, self.place)
        self.total_names = tuple(self.totals)
        self.core: Callable[[Values], tuple[Truths, Bounds]] = self._compile_core()
        self.rest: Callable[[Values, Truths], Truths] = self._compile_rest()
        self.asked_tests: dict[int, Callable[[Values], Truth]] = {
            self.index[name]: self._compile_one(condition) for name, condition in self.asked.items()
        }
        self.depends = self._dependencies()
        self.cells = self._cells()

    def _source(self, named: dict[str, str]) -> _Source:
        return _Source(self.index, named, self.asked)

    def _compile_core(self) -> Any:
        source = self._source({})
        results: list[str] = []
        for name, condition in zip(self.core_names, self.core_conditions, strict=True):
            result = source.expression(condition)
            results.append(result)
            source.named[name] = result
        bounds = []
        for groups in self.totals.values():
            low, high = [], []
            for members in groups:
                singles = [(results[place], weight) for place, weight in members]
                low.append(_heaviest(singles, "is True"))
                high.append(_heaviest(singles, "is not False"))
            join = " + " if groups.adds else ", "
            for ends in (low, high):
                if not groups.adds:
                    ends.append("0")
            bounds.append("({}, {})".format(*((join.join(e) or "0") if groups.adds else f"max({join.join(e)}, 0)" for e in (low, high))))
        return source.compiled("core", "v", f"(({', '.join(results)},), ({', '.join(bounds)},))")

    def _compile_rest(self) -> Any:
        source = self._source({name: f"s[{place}]" for name, place in self.place.items()})
        results = []
        for name, condition in zip(self.rest_names, self.rest_conditions, strict=True):
            result = source.expression(condition)
            results.append(result)
            source.named[name] = result
        return source.compiled("rest", "v, s", f"({', '.join(results)},)")

    def _compile_one(self, condition: Condition) -> Any:
        source = self._source({})
        return source.compiled("one", "v", source.expression(condition))

    def _dependencies(self) -> dict[str, frozenset[int]]:
        """For each named condition and total, the findings (as places) it can depend on."""
        asked: dict[str, set[int]] = {}

        def of_finding(name: str) -> set[int]:
            if name not in asked:
                own = {self.index[name]}
                if name in self.asked:
                    own |= {place for part in walk(self.asked[name]) if isinstance(part, Test) for place in of_finding(part.finding)}
                asked[name] = own
            return asked[name]

        depends: dict[str, frozenset[int]] = {}
        pairs = zip((*self.core_names, *self.rest_names), (*self.core_conditions, *self.rest_conditions), strict=True)
        for name, condition in pairs:
            places: set[int] = set()
            for part in walk(condition):
                match part:
                    case Test(finding):
                        places |= of_finding(finding)
                    case FactorHolds(factor):
                        places |= depends[f"factor:{factor}"]
                    case OptionWins(option):
                        places |= depends[f"option:{option}"]
            depends[name] = frozenset(places)
        for total, groups in self.totals.items():
            depends[total] = frozenset().union(*(depends[self.core_names[place]] for group in groups for place, _ in group))
        return depends

    def _cells(self) -> list[tuple[Any, ...]]:
        """For each finding one value for every way the rulebook can tell its values apart, mildest first."""
        tests: dict[str, dict[Test, None]] = {}
        conditions = [*self.core_conditions, *self.rest_conditions, *self.asked.values()]
        for condition in conditions:
            for part in walk(condition):
                if isinstance(part, Test) and part.how != "recorded":
                    tests.setdefault(part.finding, {})[part] = None
        return [decisive(finding, tests.get(finding.id, {})) for finding in self.rulebook.vocabulary.findings]


class Groups(list[list[tuple[int, float]]]):
    """Members (place, weight) of which only the heaviest counts, one list a group; summed, or the greatest taken."""

    adds: bool = True


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


def _rest(rulebook: Rulebook) -> Iterable[tuple[str, Condition]]:
    for name, condition in rulebook.wins.items():
        yield f"option:{name}", condition
    for name, condition in rulebook.eligible.items():
        yield f"open:{name}", condition
    for rule in rulebook.interactions.rules:
        yield f"rule:{rule.id}", rule.when
    for step in rulebook.steps:
        for line in step.lines:
            yield f"line:{step.id}:{line.id}", line.when
    for drill in rulebook.drills.values():
        yield f"drill:{drill.id}", drill.likely_when
    for caution in rulebook.cautions.values():
        yield f"caution:{caution.id}", caution.when
    for drug in rulebook.kit.drugs:
        for against in drug.withhold:
            yield f"drug:{drug.id}:{against.id}", against.when
    for settle in rulebook.readiness.settle:
        yield f"settle:{settle.id}", settle.when
    for override in rulebook.supervision.overrides:
        yield f"override:{override.id}", override.when


def _totals(rulebook: Rulebook, place: dict[str, int]) -> dict[str, Groups]:
    """The totals whose bounds `core` gives: points, log odds, floor, raise, and each published score."""

    def grouped(members: Iterable[tuple[str, float, str | None]], adds: bool = True) -> Groups:
        groups: dict[str, list[tuple[int, float]]] = {}
        for name, weight, group in members:
            if weight:
                groups.setdefault(group or name, []).append((place[name], weight))
        result = Groups(groups.values())
        result.adds = adds
        return result

    factors = rulebook.factors.values()
    levels = [
        (f"level:{term.id}:{n}", math.log(level.odds_ratio), term.counts_once_with or term.id)
        for term in rulebook.odds.terms
        for n, level in enumerate(term.levels)
    ]
    totals = {
        "points": grouped((f"factor:{f.id}", f.points, f.counts_once_with) for f in factors),
        "log-odds": grouped(levels),
        "floor": grouped(((f"factor:{f.id}", f.floor.tier, None) for f in factors if f.floor), adds=False),
        "raise": grouped(((f"raise:{r.id}", r.tiers, None) for r in rulebook.interactions.raises), adds=False),
    }
    for score in rulebook.scores:
        totals[f"score:{score.id}"] = grouped((f"item:{score.id}:{item.id}", item.points, None) for item in score.items)
    return totals


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
            limits = sorted({limit for test in tests for limit in (test.limit if isinstance(test.limit, frozenset) else [test.limit])})
            near = {round(limit + shift, 6) for limit in limits for shift in (-step, 0.0, step)} | {low, high}
            middle = finding.usual or finding.possible
            return sorted((v for v in near if low <= v <= high), key=lambda v: (not middle[0] <= v <= middle[1], v))
    return []


def harm(finding: Finding, value: Any) -> float:
    """How bad a value is in the finding's stated direction; 0 for all where no direction is claimed."""
    match finding.worse:
        case "higher":
            return float(value)
        case "lower":
            return -float(value)
        case "yes" | "no":
            return float(value == (finding.worse == "yes"))
        case Ordered(order=order):
            return float(order.index(value))
        case "none":
            return 0.0
        case outside:
            low, high = outside.outside
            return max(low - value, value - high, 0.0)


_made: dict[int, Compiled] = {}


def compiled(rulebook: Rulebook) -> Compiled:
    """The compiled form of a rulebook, made once for each rulebook object (which it keeps alive)."""
    if id(rulebook) not in _made:
        _made[id(rulebook)] = Compiled(rulebook)
    return _made[id(rulebook)]
