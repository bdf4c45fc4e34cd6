"""How bad a value of a finding is, in the direction of harm that the vocabulary states."""

from __future__ import annotations

from typing import Any

from planner.vocabulary import Finding, Ordered


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
