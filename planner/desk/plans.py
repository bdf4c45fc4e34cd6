"""Versions of stored cases planned by the rulebook in force, for whoever may operate: each made once, and kept."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, replace

from planner.assess.assess import assess
from planner.assess.assessment import Assessment
from planner.case import Case, Stage, read_case
from planner.errors import PlannerError
from planner.plan.allocation import allocate
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.records.rows import CaseVersion
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

KEPT = 2000


@dataclass(frozen=True)
class PlannedVersion:
    """A version as read and planned; `faults` says why it cannot be, and then the rest is None."""

    case: Case | None
    plan: Plan | None
    faults: tuple[str, ...] = ()

    @property
    def assessment(self) -> Assessment | None:
        return self.plan.assessment if self.plan else None


class PlanCache:
    """Plans versions and keeps the last so many; a version never changes, and a server has one rulebook."""

    def __init__(self, rulebook: Rulebook, unit: Unit | None) -> None:
        self.rulebook = rulebook
        self.unit = unit
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[int, Stage | None], PlannedVersion] = OrderedDict()

    def planned(self, version: CaseVersion, stage: Stage | None = None) -> PlannedVersion:
        """The version planned for a stage, the case's own where none is given."""
        name = version.id, stage
        with self._lock:
            if name in self._kept:
                self._kept.move_to_end(name)
                return self._kept[name]
        made = self._made(version, stage)
        with self._lock:
            self._kept[name] = made
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return made

    def plan(self, version: CaseVersion, stage: Stage | None) -> Plan:
        """The same as a plan. Raises PlannerError where the version cannot be judged as it is recorded."""
        planned = self.planned(version, stage)
        if planned.plan is None:
            raise PlannerError.one("the case cannot be judged as it is recorded", "", "; ".join(planned.faults))
        return planned.plan

    def _made(self, version: CaseVersion, stage: Stage | None) -> PlannedVersion:
        if stage is not None:
            # The eye is planned once, for the case's own stage; any other is an allocation of it.
            own = self.planned(version)
            return own if own.plan is None else replace(own, plan=allocate(own.plan, self.rulebook, stage))
        try:
            case = read_case(dict(version.document), self.rulebook.vocabulary)
            assessment = assess(case, self.rulebook, self.unit, None)
            return PlannedVersion(case, make_plan(assessment, self.rulebook, self.unit))
        except PlannerError as error:
            return PlannedVersion(None, None, tuple(map(str, error.faults)))
