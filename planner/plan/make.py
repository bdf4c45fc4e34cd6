"""`make_plan(assessment, rulebook, unit, stage)`: from an assessed case to the plan that is printed."""

from __future__ import annotations

from planner.assess.assessment import Assessment
from planner.case import Stage
from planner.plan.allocation import allocate
from planner.plan.eye_plan import plan_eye
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit


def make_plan(assessment: Assessment, rulebook: Rulebook, unit: Unit | None = None, stage: Stage | None = None) -> Plan:
    """Plan an assessed case for a trainee's stage (default: the case's own). Pure; raises nothing of its own."""
    return allocate(plan_eye(assessment, rulebook, unit), rulebook, stage)


def ready_in(assessment: Assessment, rulebook: Rulebook, unit: Unit | None) -> Assessment:
    """The assessment as its plan in this unit has it: lacking kit that is essential settles first here too."""
    if unit is None or unit.kit is None:
        return assessment
    return plan_eye(assessment, rulebook, unit).assessment
