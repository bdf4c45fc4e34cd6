"""Conditions put into English, with the vocabulary's labels and units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test
from planner.vocabulary import Vocabulary
from planner.wording.words import lower_first

_NUMBER_WORDS = {"less_than": "below", "at_most": "at or below", "at_least": "at or above", "more_than": "above"}


def sentence(condition: Condition, vocabulary: Vocabulary, names: Mapping[str, str]) -> str:
    """One condition as a phrase, e.g. `anterior chamber depth at or below 2.5 mm`.

    `names` gives the label of each factor and option id; an id without one stands for itself.
    """

    def phrase(part: Condition, inner: bool) -> str:
        match part:
            case Test():
                return _comparison(part, vocabulary)
            case FactorHolds(factor):
                return lower_first(names.get(factor, factor))
            case OptionWins(option):
                return f"the plan is: {lower_first(names.get(option, option))}"
            case All(()):
                return "always"
            case All(parts):
                return _join(" and ", [phrase(p, True) for p in parts], inner)
            case Any_(parts):
                return _join(" or ", [phrase(p, True) for p in parts], inner)
            case NumberOf(parts, number):
                return f"at least {number} of: " + ", ".join(phrase(p, True) for p in parts)
            case Not(part):
                return f"not ({phrase(part, False)})"

    return phrase(condition, False)


def _join(word: str, phrases: list[str], inner: bool) -> str:
    text = word.join(phrases)
    return f"({text})" if inner and len(phrases) > 1 else text


def _comparison(test: Test, vocabulary: Vocabulary) -> str:
    finding = vocabulary.by_id[test.finding]
    label = lower_first(finding.label)
    if test.how == "recorded":
        return f"{label} is {'' if test.limit else 'not '}recorded"
    if test.how in _NUMBER_WORDS:
        return f"{label} {_NUMBER_WORDS[test.how]} {finding.shown(test.limit)}"
    if test.how == "is_one_of":
        return f"{label} is " + " or ".join(sorted(finding.shown(value) for value in test.limit))
    if test.how == "includes":
        return f"{label} includes " + " or ".join(sorted(finding.values[value] for value in test.limit))
    if finding.kind == "yes-no":
        return label if test.limit else f"{label}: no"
    return f"{label} is {finding.shown(test.limit)}"


def gate_words(asks: Sequence[str], then: str, *, together: bool = False) -> str:
    """What would have to be found, and what is then done: `posterior polar opacity → delineation only`."""
    return f"{(' and ' if together else ', ').join(asks)} → {lower_first(then).rstrip('.')}"
