"""How bad a value of a finding is, and which of two is the worse, in the direction of harm that it states."""

from __future__ import annotations

from typing import Any

from planner.conditions import Value
from planner.vocabulary import Finding, Ordered, Outside


def harm(finding: Finding, value: Any) -> float:
    """How bad a value is in the finding's stated direction; 0 for all where no direction is claimed."""
    match finding.worse:
        case "higher":
            return float(value)
        case "lower":
            return -float(value)
        case "yes" | "no":
            return float(value == (finding.worse == "yes"))
        case "more":
            return float(len(value))
        case Ordered(rank=rank):
            return float(rank[value])
        case "none":
            return 0.0
        case outside:
            low, high = outside.outside
            return float(max(low - value, value - high, 0.0))


def is_worse(finding: Finding, now: Value, before: Value) -> bool:
    """Whether a value is worse, as the proof has it: a set that holds another; a number further out on one side."""
    match finding.worse:
        case "none":
            return False
        case "more":
            assert isinstance(now, frozenset) and isinstance(before, frozenset)
            return now > before
        case Outside(outside=(low, high)):
            assert isinstance(now, float) and isinstance(before, float)
            return (now < low and now < before <= high) or (now > high and now > before >= low)
    return harm(finding, now) > harm(finding, before)
