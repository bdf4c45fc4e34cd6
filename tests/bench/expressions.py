"""Conditions written as expressions of other engines' languages, with the guards against missing values written in."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Protocol

from planner.conditions import All, Any_, Condition, Not, NumberOf, Test


class Dialect(Protocol):
    """How an expression language writes what the conditions need."""

    every: str
    some: str
    negation: str

    def includes(self, name: str, limit: Sequence[str]) -> str: ...


class Zen:
    every, some, negation = " and ", " or ", "not "

    def includes(self, name: str, limit: Sequence[str]) -> str:
        return f"some({name}, # in {json.dumps(limit)})"


class Cel:
    every, some, negation = " && ", " || ", "!"

    def includes(self, name: str, limit: Sequence[str]) -> str:
        return f"{name}.exists(item, item in {json.dumps(limit)})"


SIGNS = {"is": "==", "less_than": "<", "at_most": "<=", "at_least": ">=", "more_than": ">"}


def certainly(condition: Condition, sought: bool, dialect: Dialect, asked: dict[str, Condition]) -> str:
    """An expression that is true when the condition certainly holds (`sought`), or certainly does not."""

    def joined(parts: Sequence[Condition], sign: str) -> str:
        written = [certainly(part, sought, dialect, asked) for part in parts]
        return f"({sign.join(written)})" if written else ("true" if sign == dialect.every else "false")

    match condition:
        case Test():
            return _test(condition, sought, dialect, asked)
        case Not(part):
            return certainly(part, not sought, dialect, asked)
        case All(parts):
            return joined(parts, dialect.every if sought else dialect.some)
        case Any_(parts):
            return joined(parts, dialect.some if sought else dialect.every)
        case NumberOf(parts, number):
            # Enough of them hold; or so many do not that too few are left.
            needed = number if sought else len(parts) - number + 1
            counted = " + ".join(f"({certainly(part, sought, dialect, asked)} ? 1 : 0)" for part in parts)
            return f"({counted} >= {needed})"
    raise AssertionError(condition)


def _test(test: Test, sought: bool, dialect: Dialect, asked: dict[str, Condition]) -> str:
    name, how, limit = test.finding, test.how, test.limit
    known, missing = f"({name} != null)", f"({name} == null)"
    out_of_place = f"{missing}{dialect.every}{certainly(asked[name], False, dialect, asked)}" if name in asked else ""
    if how == "recorded":
        waiting = f"({missing}{dialect.every}{dialect.negation}({out_of_place}))" if out_of_place else missing
        holds = known if limit else waiting
        return holds if sought else f"{dialect.negation}({holds})"
    match how:
        case "is_one_of":
            compared = f"({name} in {json.dumps(sorted(limit))})"
        case "includes":
            compared = dialect.includes(name, sorted(limit))
        case _:
            compared = f"({name} {SIGNS[how]} {json.dumps(limit)})"
    if sought:
        return f"({known}{dialect.every}{compared})"
    fails = f"({known}{dialect.every}{dialect.negation}({compared}))"
    return f"({fails}{dialect.some}({out_of_place}))" if out_of_place else fails
