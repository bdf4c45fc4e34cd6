"""A case's version judged by the rulebook in force: what the side of the form, the lists and the plan page show."""

from __future__ import annotations

import re
import threading
from collections import OrderedDict
from dataclasses import dataclass

from planner.assess.assess import assess
from planner.assess.assessment import Assessment, TierResult
from planner.case import Case, read_case
from planner.errors import PlannerError
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.records.rows import CaseVersion
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

KEPT = 2000
_PERCENTAGE = re.compile(r" of [\d.]+ % at the published baseline")


@dataclass(frozen=True)
class Judged:
    """A version as read and judged; `faults` says why it cannot be, and then the rest is None."""

    case: Case | None
    plan: Plan | None
    faults: tuple[str, ...] = ()

    @property
    def assessment(self) -> Assessment | None:
        return self.plan.assessment if self.plan else None


class Judge:
    """Plans versions and keeps the last so many; a version never changes, and a server has one rulebook."""

    def __init__(self, rulebook: Rulebook, unit: Unit | None) -> None:
        self.rulebook = rulebook
        self.unit = unit
        self._lock = threading.Lock()
        self._kept: OrderedDict[int, Judged] = OrderedDict()

    def judge(self, version: CaseVersion) -> Judged:
        with self._lock:
            held = self._kept.get(version.id)
            if held is not None:
                self._kept.move_to_end(version.id)
                return held
        made = self._made(version)
        with self._lock:
            self._kept[version.id] = made
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return made

    def _made(self, version: CaseVersion) -> Judged:
        try:
            case = read_case(dict(version.document), self.rulebook.vocabulary)
            return Judged(case, make_plan(assess(case, self.rulebook, self.unit, None), self.rulebook, self.unit))
        except PlannerError as error:
            return Judged(None, None, tuple(map(str, error.faults)))


def without_percentages(reasons: tuple[str, ...]) -> list[str]:
    """What decided the tier, the percentages left to the plan, where their limits stand beside them."""
    return [_PERCENTAGE.sub("", reason) for reason in reasons]


def readings(tier: TierResult) -> str:
    """Both readings of the tier in a few words, the working one first."""
    if tier.on_record is None:
        return f"{tier.working}, too little recorded for a technique"
    differs = tier.on_record != tier.working
    return f"{tier.working} until known, {tier.on_record} on record" if differs else f"{tier.working}"
