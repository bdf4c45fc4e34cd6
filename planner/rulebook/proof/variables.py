"""One finding as the solver sees it: a real or whole number, one of a list, yes or no, one yes-or-no a set's member."""

from __future__ import annotations

import datetime
import operator
from fractions import Fraction
from typing import Any

import z3

from planner.conditions import Test, Value
from planner.vocabulary import Finding, Ordered

Formula = Any  # a z3 expression of truth; z3 carries no types of its own
_COMPARISONS = {"less_than": operator.lt, "at_most": operator.le, "at_least": operator.ge, "more_than": operator.gt}


def is_so(model: z3.ModelRef, formula: Formula) -> bool:
    """Whether a formula holds in a model of the solver."""
    return bool(z3.is_true(model.eval(formula, model_completion=True)))


class Variable:
    """An unknown value of a finding, anywhere within what is possible."""

    def __init__(self, finding: Finding, name: str) -> None:
        self.finding = finding
        self.rank = finding.worse.rank if isinstance(finding.worse, Ordered) else dict.fromkeys(finding.values, 0)
        self.order = list(self.rank)
        self.members: dict[str, Any] = {}
        match finding.kind:
            case "number":
                self.term: Any = z3.Real(name)
            case "yes-no":
                self.term = z3.Bool(name)
            case "set":
                self.members = {member: z3.Bool(f"{name}.{member}") for member in finding.values}
            case _:
                self.term = z3.Int(name)

    def within(self) -> list[Formula]:
        """What is possible at all."""
        match self.finding.kind:
            case "number" | "count":
                assert self.finding.possible is not None
                low, high = self.finding.possible
                return [self.term >= _number(low), self.term <= _number(high)]
            case "choice":
                return [self.term >= 0, self.term < len(self.order)]
            case "date":
                return [self.term >= datetime.date.min.toordinal(), self.term <= datetime.date.max.toordinal()]
        return []

    def passes(self, test: Test) -> Formula:
        """A bound comparison, of a value that is recorded."""
        match test.how:
            case "is":
                return self.equals(test.limit)
            case "is_one_of":
                return z3.Or([self.equals(value) for value in sorted(test.limit, key=str)])
            case "includes":
                return z3.Or([self.members[member] for member in sorted(test.limit)])
        limit = test.limit.toordinal() if isinstance(test.limit, datetime.date) else _number(test.limit)
        return _COMPARISONS[test.how](self.term, limit)

    def equals(self, value: Value) -> Formula:
        match value:
            case bool():
                return self.term if value else z3.Not(self.term)
            case frozenset():
                return z3.And([m if name in value else z3.Not(m) for name, m in self.members.items()])
            case datetime.date():
                return self.term == value.toordinal()
            case str():
                return self.term == (
                    self.order.index(value) if self.finding.kind == "choice" else int.from_bytes(value.encode())
                )
        return self.term == _number(value)

    def same_as(self, other: Variable) -> Formula:
        if self.members:
            return z3.And([member == other.members[name] for name, member in self.members.items()])
        return self.term == other.term

    def worse_than(self, other: Variable) -> Formula | None:
        """Worse in its stated direction, None without one; the sides of a range are not compared with each other."""
        worse = self.finding.worse
        if worse == "none":
            return None
        if worse == "more":
            grown = [z3.Implies(other.members[name], member) for name, member in self.members.items()]
            return z3.And(*grown, z3.Not(self.same_as(other)))
        now, before = self.term, other.term
        match worse:
            case "higher":
                return now > before
            case Ordered(rank=rank):
                pairs = [(a, b) for a in rank for b in rank if rank[a] > rank[b]]
                return z3.Or([z3.And(self.equals(a), other.equals(b)) for a, b in pairs])
            case "lower":
                return now < before
            case "yes":
                return z3.And(now, z3.Not(before))
            case "no":
                return z3.And(z3.Not(now), before)
        low, high = map(_number, worse.outside)
        below = z3.And(now < low, now < before, before <= high)
        above = z3.And(now > high, now > before, before >= low)
        return z3.Or(below, above)

    def value(self, model: z3.ModelRef) -> Value:
        """The value a model of the solver gives it."""
        if self.members:
            return frozenset(name for name, member in self.members.items() if is_so(model, member))
        term_value = model.eval(self.term, model_completion=True)
        match self.finding.kind:
            case "number" | "count":
                return float(term_value.as_fraction() if self.finding.kind == "number" else term_value.as_long())
            case "yes-no":
                return is_so(model, term_value)
            case "choice":
                return self.order[int(term_value.as_long())]
            case "date":
                return datetime.date.fromordinal(int(term_value.as_long()))
        return "recorded"


def _number(value: float) -> Any:
    """A limit exactly as it is written, 2.3 being 23/10."""
    exact = Fraction(f"{value:.12g}")
    return z3.Q(exact.numerator, exact.denominator)
