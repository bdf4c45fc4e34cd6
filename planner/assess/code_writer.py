"""Writes Python source for conditions: three-valued, each distinct comparison made once."""

from __future__ import annotations

from typing import Any

from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test


class FunctionWriter:
    """Writes the body of one generated function; each distinct comparison becomes one local variable."""

    def __init__(self, index: dict[str, int], named: dict[str, str], asked: dict[str, Condition]) -> None:
        self.index = index
        self.named = named  # `factor:id` or `option:id` -> expression
        self.asked = asked
        self.lines: list[str] = []
        self.constants: dict[str, Any] = {}
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

    def test(self, test: Test) -> str:
        value, when = self.value(test.finding), self.asked.get(test.finding)
        asked = None if when is None else self.local(("asked", test.finding), self.expression(when))
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
            case All(parts) | Any_(parts):
                names = list(dict.fromkeys(self.expression(part) for part in parts))
                if len(names) == 1:
                    return names[0]
                one_decides, otherwise = ("False", "True") if isinstance(condition, All) else ("True", "False")
                decided = " or ".join(f"{name} is {one_decides}" for name in names)
                some_unknown = " or ".join(f"{name} is None" for name in names)
                return self.local(condition, f"{one_decides} if {decided} else None if {some_unknown} else {otherwise}")
            case NumberOf(parts, number):
                names = [self.expression(part) for part in parts]
                holding = " + ".join(f"({name} is True)" for name in names)
                possible = " + ".join(f"({name} is not False)" for name in names)
                return self.local(
                    condition, f"True if {holding} >= {number} else False if {possible} < {number} else None"
                )
            case Not(part):
                name = self.expression(part)
                return self.local(condition, f"None if {name} is None else not {name}")

    def compiled(self, name: str, arguments: str, returned: str) -> Any:
        body = "\n    ".join([*self.lines, f"return {returned}"])
        source = f"def {name}({arguments}):\n    {body}\n"
        space = dict(self.constants)
        exec(compile(source, f"<{name} compiled from the rulebook>", "exec"), space)
        return space[name]
