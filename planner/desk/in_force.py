"""The plan in force: what was approved, for whoever it is placed with. Nothing else is printed of an approved case."""

from __future__ import annotations

import datetime

from planner.desk.desk import Desk
from planner.plan.approved import NotCoveredError, Seat
from planner.plan.plan import Plan
from planner.records.approved import plan_as_approved, standing_on
from planner.records.rows import Allocation, CaseNow


def plan_in_force(desk: Desk, now: CaseNow, on: datetime.date | None = None) -> Plan:
    """The plan of a case as it is done: by whom it is placed with, else as it was approved, else by the rulebook.

    `on` is the day on which the approval must stand: by default that of its place, else today. Raises NotCoveredError
    where the approval does not cover the place, PlannerError where the case cannot be judged.
    """
    at = now.allocation
    day = on or (at.day if at else desk.day_here())
    standing = standing_on(now, day, desk.rulebook)
    approved = standing is not None and standing.state == "stands"
    seat = seat_at(desk, at) if at is not None and approved else None
    return plan_as_approved(
        desk.store, now, lambda stage: desk.judge.planned(now.version, stage), day, desk.rulebook, seat
    )  # fmt: skip


def plan_as_given(desk: Desk, now: CaseNow) -> Plan:
    """The plan as it was approved, whoever it is placed with; by the rulebook where no approval stands today."""
    return plan_as_approved(
        desk.store, now, lambda stage: desk.judge.planned(now.version, stage), desk.day_here(), desk.rulebook
    )  # fmt: skip


def seat_at(desk: Desk, at: Allocation) -> Seat:
    """Who sits down at a place. Raises NotCoveredError where the trainee's stage is not known."""
    if at.trainee is None:
        return Seat(None)
    trainee = desk.store.person(at.trainee).trainee_id or at.trainee
    known = {one.id for one in desk.unit.trainees} if desk.unit else set()
    if desk.unit is None or trainee not in known:
        where = f"{at.trainee} is no trainee of the unit's file" if desk.unit else "no unit's file was given"
        why = "who supervises and which steps are theirs goes by stage"
        raise NotCoveredError.one(f"the stage of {at.trainee} is not known: {where}", "", why, "give it with --unit")
    stage = desk.unit.stage_of(trainee, desk.rulebook)
    roster = desk.lists.roster if desk.lists else None
    can = {one.id: tuple(one.can) for one in roster.supervisors}.get(at.supervisor) if roster else None
    learner = next((one for one in roster.trainees if one.id == trainee), None) if roster else None
    cleared = frozenset(learner.steps_cleared) if learner is not None and stage == "steps-only" else None
    return Seat(stage, can, cleared)
