"""The rulebook's condition language: one tree, several readers.

A condition is words, never an expression in a string::

    {finding: anterior_chamber_depth_mm, at_most: 2.5}
    {factor: tense-white-lens}
    {option: capsule-dye.trypan-blue}          (the choice's winner; only where the plan is written)
    {all: [...]}, {any: [...]}, {not: ...}, {number_of: [...], at_least: 2}, always

`parse` builds the tree, `bind` types its values by the vocabulary, `walk` lists its parts, `evaluate` gives
a three-valued truth. Words are made in `wording`, Python source in `planner.assess.compiled`.
"""

from __future__ import annotations

import datetime
import operator
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from planner import truth
from planner.truth import Truth

Value = bool | float | str | frozenset[str] | datetime.date

NUMBER_TESTS = ("less_than", "at_most", "at_least", "more_than")
LEAF_TESTS = ("is", "is_one_of", "includes", *NUMBER_TESTS, "recorded")
SHAPES = (
    "finding with one of " + ", ".join(LEAF_TESTS) + "; factor; option; all; any; not; number_of with at_least; always"
)


class ConditionError(ValueError):
    """A condition that cannot be read; the message says what is wrong and what is allowed, `place` where inside it."""

    def __init__(self, message: str, place: tuple[str | int, ...] = ()) -> None:
        super().__init__(message)
        self.place = place


@dataclass(frozen=True, slots=True)
class Test:
    """One comparison of one finding. `limit` is text until bound, then a typed value or a frozenset of them."""

    finding: str
    how: str
    limit: Any


@dataclass(frozen=True, slots=True)
class FactorHolds:
    factor: str


@dataclass(frozen=True, slots=True)
class OptionWins:
    """The named option of a choice is the one the case gets; written `choice.option`."""

    option: str


@dataclass(frozen=True, slots=True)
class All:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Any_:
    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    part: Condition


@dataclass(frozen=True, slots=True)
class NumberOf:
    parts: tuple[Condition, ...]
    number: int


Condition = Test | FactorHolds | OptionWins | All | Any_ | Not | NumberOf
ALWAYS = All(())


def parse(raw: object) -> Condition:
    """Read a condition from plain data (mappings, lists, text). Raises ConditionError."""
    if isinstance(raw, Condition):
        return raw
    if raw == "always":
        return ALWAYS
    if not isinstance(raw, Mapping):
        raise ConditionError(f"a condition must be a mapping, not {raw!r}; allowed: {SHAPES}")
    keys = set(raw)
    if "finding" in keys:
        return _parse_tests(raw)
    if "number_of" in keys:
        return _parse_number_of(raw)
    if len(keys) != 1:
        words = "all, any, not, factor, option, finding"
        raise ConditionError(f"a condition needs exactly one of {words}; got {sorted(map(str, keys))}")
    match next(iter(keys)):
        case "factor" | "option" as word:
            return (FactorHolds if word == "factor" else OptionWins)(_name(raw, word))
        case "all" | "any" as word:
            return (All if word == "all" else Any_)(_parse_parts(raw, word))
        case "not":
            return Not(_parse_at(raw["not"], "not"))
        case other:
            raise ConditionError(f"unknown word {other!r} in a condition; allowed: {SHAPES}", (other,))


def _parse_at(raw: object, *place: str | int) -> Condition:
    """A condition inside another; an error says where in it."""
    try:
        return parse(raw)
    except ConditionError as error:
        raise ConditionError(str(error), (*place, *error.place)) from None


def _parse_parts(raw: Mapping[str, Any], word: str) -> tuple[Condition, ...]:
    parts = raw[word]
    if not isinstance(parts, list) or not parts:
        raise ConditionError(f"{word} takes a list of conditions with at least one in it, not {parts!r}", (word,))
    return tuple(_parse_at(part, word, index) for index, part in enumerate(parts))


def _parse_number_of(raw: Mapping[str, Any]) -> Condition:
    if set(raw) != {"number_of", "at_least"}:
        raise ConditionError(f"number_of goes with at_least and nothing else; got {sorted(map(str, raw))}")
    parts, number = _parse_parts(raw, "number_of"), str(raw["at_least"])
    if not (number.isascii() and number.isdigit() and 1 <= int(number) <= len(parts)):
        raise ConditionError(f"at_least is {number!r}; it counts parts, from 1 to {len(parts)} here", ("at_least",))
    return NumberOf(parts, int(number))


def _name(raw: Mapping[str, Any], word: str) -> str:
    if not isinstance(raw[word], str):
        raise ConditionError(f"{word} takes one id, not {raw[word]!r}", (word,))
    return str(raw[word])


def _parse_tests(raw: Mapping[str, Any]) -> Condition:
    unknown = [key for key in raw if key not in ("finding", *LEAF_TESTS)]
    if unknown:
        raise ConditionError(f"unknown test {unknown[0]!r}; allowed: {', '.join(LEAF_TESTS)}", (unknown[0],))
    finding = _name(raw, "finding")
    tests = tuple(Test(finding, how, raw[how]) for how in LEAF_TESTS if how in raw)
    if not tests:
        raise ConditionError(f"a finding needs a test: one of {', '.join(LEAF_TESTS)}")
    return tests[0] if len(tests) == 1 else All(tests)


def walk(condition: Condition) -> Iterator[Condition]:
    """The condition and every part of it, outermost first."""
    yield condition
    match condition:
        case All(parts) | Any_(parts) | NumberOf(parts):
            for part in parts:
                yield from walk(part)
        case Not(part):
            yield from walk(part)


def findings_in(condition: Condition) -> set[str]:
    return {part.finding for part in walk(condition) if isinstance(part, Test)}


def factors_in(condition: Condition) -> set[str]:
    return {part.factor for part in walk(condition) if isinstance(part, FactorHolds)}


def recording_in(condition: Condition) -> list[Test]:
    """The tests of whether something was recorded."""
    return [part for part in walk(condition) if isinstance(part, Test) and part.how == "recorded"]


def absences_in(condition: Condition) -> frozenset[str]:
    """The findings of which the condition asks whether they are not recorded."""
    return frozenset(test.finding for test in recording_in(condition) if not test.limit)


def rebuild(condition: Condition, leaf: Callable[[Condition], Condition]) -> Condition:
    """The same tree with every leaf replaced by `leaf(leaf)`."""
    match condition:
        case All(parts) | Any_(parts) | NumberOf(parts):
            return replace(condition, parts=tuple(rebuild(part, leaf) for part in parts))
        case Not(part):
            return Not(rebuild(part, leaf))
    return leaf(condition)


def bind(condition: Condition, typed: Callable[[str, str, object], Any]) -> Condition:
    """Type every limit. `typed(finding, how, raw limit)` returns the typed limit or raises ConditionError."""

    def one(part: Condition) -> Condition:
        return replace(part, limit=typed(part.finding, part.how, part.limit)) if isinstance(part, Test) else part

    return rebuild(condition, one)


_COMPARISONS: dict[str, Callable[[Any, Any], Any]] = {
    "is": operator.eq,
    "is_one_of": lambda value, limit: value in limit,
    "includes": operator.and_,
    "less_than": operator.lt,
    "at_most": operator.le,
    "at_least": operator.ge,
    "more_than": operator.gt,
}


def compare(test: Test, value: Any) -> bool:
    """Whether a recorded value passes a bound test."""
    return bool(_COMPARISONS[test.how](value, test.limit))


def evaluate(
    condition: Condition, tested: Callable[[Test], Truth], named: Callable[[FactorHolds | OptionWins], Truth]
) -> Truth:
    """Three-valued truth; `tested` judges one comparison, `named` a reference to a factor or option."""
    match condition:
        case Test():
            return tested(condition)
        case FactorHolds() | OptionWins():
            return named(condition)
        case All(parts):
            return truth.conjunction(evaluate(part, tested, named) for part in parts)
        case Any_(parts):
            return truth.disjunction(evaluate(part, tested, named) for part in parts)
        case NumberOf(parts, number):
            return truth.at_least(number, (evaluate(part, tested, named) for part in parts))
        case Not(part):
            return truth.negation(evaluate(part, tested, named))


def judge(condition: Condition, recorded: Mapping[str, Value | None]) -> Truth:
    """A condition of findings alone, judged of what is recorded by name."""

    def tested(test: Test) -> Truth:
        value = recorded.get(test.finding)
        return None if value is None else compare(test, value)

    return evaluate(condition, tested, lambda _: None)
