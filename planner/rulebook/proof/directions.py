"""Which of two values of a finding is the worse, as the proof claims it; the formulas say the same."""

from __future__ import annotations

from planner.conditions import Value
from planner.harm import harm
from planner.vocabulary import Finding, Outside


def is_worse(finding: Finding, now: Value, before: Value) -> bool:
    """Whether a value is worse in the finding's direction.

    A set is worse than one that it holds; outside a range a value is worse than any nearer on its side, or within.
    """
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
