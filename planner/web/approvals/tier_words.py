"""What decided a tier, and both its readings, in the few words that pages have room for."""

from __future__ import annotations

import re

from planner.assess.assessment import TierResult

_PERCENTAGE = re.compile(r" of [\d.]+ % at the published baseline")


def without_percentages(reasons: tuple[str, ...]) -> list[str]:
    """What decided the tier, the percentages left to the plan, where their limits stand beside them."""
    return [_PERCENTAGE.sub("", reason) for reason in reasons]


def readings(tier: TierResult) -> str:
    """Both readings of the tier in a few words, the working one first."""
    if tier.on_record is None:
        return f"{tier.working}, too little recorded for a technique"
    differs = tier.on_record != tier.working
    return f"{tier.working} until known, {tier.on_record} on record" if differs else f"{tier.working}"
