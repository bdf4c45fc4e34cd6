"""The plan in force: what was approved, for whoever it is placed with. Nothing else is printed of an approved case."""

from __future__ import annotations

import datetime

from planner.desk.desk import Desk
from planner.plan.approved import NotCoveredError, Seat
from planner.plan.plan import Plan
from planner.records.approved import plan_as_approved, stands_on
from planner.records.rows import CaseNow


def plan_in_force(desk: Desk, now: CaseNow, on: datetime.date | None = None) -> Plan:
    """The plan of a case as it is done: by whom it is placed with, else as it was approved, else by the rulebook.

    `on` is the day on which the approval must stand: by default that of its place, else today. Raises NotCoveredError
    where the approval does not cover the place, PlannerError where the case cannot be judged.
    """
    at = now.allocation
    day = on or (at.day if at else desk.day_here())
    approved = at is not None and stands_on(now, day, desk.rulebook)
    seat = seat_at(desk, at.trainee, at.supervisor) if at is not None and approved else None
    return plan_as_approved(
        desk.store, now, lambda stage: desk.judge.planned(now.version, stage), day, desk.rulebook, seat
    )  # fmt: skip


def plan_as_given(desk: Desk, now: CaseNow) -> Plan:
    """The plan as it was approved, whoever it is placed with; by the rulebook where no approval stands today."""
    return plan_as_approved(
        desk.store, now, lambda stage: desk.judge.planned(now.version, stage), desk.day_here(), desk.rulebook
    )  # fmt: skip


def shown_plan(desk: Desk, now: CaseNow) -> tuple[Plan, tuple[str, ...]]:
    """The plan in force; where its place is not what was approved, the plan as approved, and in sentences why."""
    try:
        return plan_in_force(desk, now), ()
    except NotCoveredError as error:
        return plan_as_given(desk, now), tuple(map(str, error.faults))


def seat_at(desk: Desk, code: str | None, supervisor: str) -> Seat:
    """Who sits down: a trainee by code, or none, under a supervisor. Raises NotCoveredError where no stage is known."""
    if code is None:
        return Seat(None)
    trainee = desk.store.person(code).trainee_id or code
    known = {one.id for one in desk.unit.trainees} if desk.unit else set()
    if desk.unit is None or trainee not in known:
        where = f"{code} is no trainee of the unit's file" if desk.unit else "no unit's file was given"
        why = "who supervises and which steps are theirs goes by stage"
        raise NotCoveredError.one(f"the stage of {code} is not known: {where}", "", why, "give it with --unit")
    stage = desk.unit.stage_of(trainee, desk.rulebook)
    lists = desk.lists()
    roster = lists.roster if lists else None
    can = {one.id: tuple(one.can) for one in roster.supervisors}.get(supervisor) if roster else None
    learner = next((one for one in roster.trainees if one.id == trainee), None) if roster else None
    return Seat(stage, can, learner.cleared_at(stage) if learner is not None else None)
