"""Other ways of judging the same conditions: two plain ones of our own, and two general-purpose rule engines.

The engines of others know no "unknown". Asked which conditions hold for certain, with the guards against missing values
written in, they give half of what ours answers; asked which certainly do not hold as well, they give all of it.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from typing import Any

from bench.expressions import Cel, Dialect, Zen, certainly
from bench.rule_sets import RuleSet
from planner import truth
from planner.conditions import All, Any_, Condition, Not, NumberOf, Test, compare, evaluate, walk
from planner.truth import Truth

Judge = Callable[[list[Any]], Sequence[Truth]]


def tree_walk(rules: RuleSet) -> Judge:
    """Each condition walked by `planner.conditions.evaluate`."""
    index = rules.index

    def judge(values: list[Any]) -> list[Truth]:
        def tested(test: Test) -> Truth:
            value = values[index[test.finding]]
            asked = rules.asked.get(test.finding)
            out_of_place = value is None and asked is not None and evaluate(asked, tested, _no_names) is False
            if test.how == "recorded":
                return value is not None if test.limit else value is None and not out_of_place
            if value is None:
                return False if out_of_place else None
            return compare(test, value)

        return [evaluate(condition, tested, _no_names) for condition in rules.conditions]

    return judge


def _no_names(part: Condition) -> Truth:
    raise AssertionError(part)


def closures(rules: RuleSet) -> Judge:
    """Each condition as functions within functions, made once."""
    index = rules.index
    comparing: dict[str, Callable[[Any, Any], bool]] = {
        "is": lambda value, limit: value == limit,
        "is_one_of": lambda value, limit: value in limit,
        "includes": lambda value, limit: not limit.isdisjoint(value),
        "less_than": lambda value, limit: value < limit,
        "at_most": lambda value, limit: value <= limit,
        "at_least": lambda value, limit: value >= limit,
        "more_than": lambda value, limit: value > limit,
    }

    def made(condition: Condition) -> Callable[[list[Any]], Truth]:
        match condition:
            case Test(name, how, limit):
                return leaf(index[name], made(rules.asked[name]) if name in rules.asked else None, how, limit)
            case Not(part):
                inner = made(part)
                return lambda values: truth.negation(inner(values))
            case All(parts):
                every = [made(part) for part in parts]
                return lambda values: truth.conjunction(each(values) for each in every)
            case Any_(parts):
                some = [made(part) for part in parts]
                return lambda values: truth.disjunction(each(values) for each in some)
            case NumberOf(parts, number):
                counted = [made(part) for part in parts]
                return lambda values: truth.at_least(number, (each(values) for each in counted))
        raise AssertionError(condition)

    def leaf(
        place: int, asked: Callable[[list[Any]], Truth] | None, how: str, limit: Any
    ) -> Callable[[list[Any]], Truth]:
        if how == "recorded" and limit:
            return lambda values: values[place] is not None
        if how == "recorded":
            return lambda values: values[place] is None and (asked is None or asked(values) is not False)
        passes = comparing[how]

        def judge(values: list[Any]) -> Truth:
            value = values[place]
            if value is None:
                return None if asked is None or asked(values) is not False else False
            return passes(value, limit)

        return judge

    functions = [made(condition) for condition in rules.conditions]
    return lambda values: [function(values) for function in functions]


def zen_engine(rules: RuleSet, both_ways: bool) -> Judge:
    """zen-engine: one expression, a list with an answer for every condition."""
    import zen

    expression = zen.compile_expression(_one_list(rules, Zen(), both_ways))
    return _on_mappings(rules, expression.evaluate)


def cel_expr(rules: RuleSet, both_ways: bool) -> Judge:
    """cel-expr-python: one expression, a list with an answer for every condition."""
    from cel_expr_python import cel

    environment = cel.NewEnv(variables={name: cel.Type.DYN for name in rules.fields})
    expression = environment.compile(_one_list(rules, Cel(), both_ways))
    return _on_mappings(rules, lambda data: expression.eval(data=data).plain_value())


def _one_list(rules: RuleSet, dialect: Dialect, both_ways: bool) -> str:
    """Whether each condition certainly holds, and with `both_ways` then whether each certainly does not."""
    asked_for = (True, False) if both_ways else (True,)
    written = [certainly(each, sought, dialect, rules.asked) for sought in asked_for for each in rules.conditions]
    return f"[{', '.join(written)}]"


def _on_mappings(rules: RuleSet, evaluate: Callable[[dict[str, Any]], list[bool]]) -> Judge:
    """Cases as the engine takes them, with the fields that matter, are made beforehand: no time is spent on that."""
    used = {
        part.finding
        for each in (*rules.conditions, *rules.asked.values())
        for part in walk(each)
        if isinstance(part, Test)
    }
    mappings = {
        id(case): {name: _plain(value) for name, value in zip(rules.fields, case, strict=True) if name in used}
        for case in rules.cases
    }
    return lambda values: evaluate(mappings[id(values)])


def _plain(value: Any) -> Any:
    if isinstance(value, frozenset):
        return sorted(value)
    return value.isoformat() if isinstance(value, datetime.date) else value
