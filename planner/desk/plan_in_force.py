"""The plan in force: what was approved, for whoever it is placed with. Nothing else is printed of an approved case."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from planner.desk.desk import Desk
from planner.documents.papers.sheet import LeftOut, Place
from planner.errors import PlannerError
from planner.lists.week.from_records import RecordedLists
from planner.lists.week.instance import Key, Placing
from planner.lists.week.week import Week, seat_of
from planner.local_time import wall
from planner.plan.approved import NotCoveredError, OperatingPair, with_approval
from planner.plan.plan import Approval, Plan
from planner.records.approval_validity import given_in, standing_on, stands_on
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
    return _as_approved(desk, now, day, seat)


def plan_as_given(desk: Desk, now: CaseNow) -> Plan:
    """The plan as it was approved, whoever it is placed with; by the rulebook where no approval stands today."""
    return _as_approved(desk, now, desk.day_here(), None)


def shown_plan(desk: Desk, now: CaseNow) -> tuple[Plan, tuple[str, ...]]:
    """The plan in force; where its place is not what was approved, the plan as approved, and in sentences why."""
    try:
        return plan_in_force(desk, now), ()
    except NotCoveredError as error:
        return plan_as_given(desk, now), tuple(map(str, error.faults))


def plans_on_lists(desk: Desk, held: RecordedLists, placings: Sequence[Placing]) -> dict[Key, Plan]:
    """The plan of each placed case for whoever operates, with the approval that stands on the day in force.

    Where that does not cover the placing the plan is as the rulebook has it: the checker says so, and nothing of
    who operates is printed from it.
    """
    made, week = {}, Week(held.instance, held.lists)
    for placing in placings:
        now, day = held.now[placing.case], held.instance.sessions[placing.session].day
        seat = seat_of(week, placing)
        try:
            made[placing.case] = _as_approved(desk, now, day, seat)
        except NotCoveredError:
            made[placing.case] = desk.plans.plan(now.version, seat.stage)
    return made


def paper_of(desk: Desk, now: CaseNow, on: datetime.date) -> tuple[Place, Plan] | LeftOut:
    """The paper of a case that has a place on a day's lists."""
    at = now.allocation
    assert at is not None
    place = Place(at.theatre, at.place, now.case.reference, now.case.eye, at.trainee, at.supervisor)
    standing = standing_on(now, on, desk.rulebook)
    if standing is None:
        return LeftOut(place, ("no approval stands: it was withdrawn, or has lapsed",))
    if standing.state != "stands":
        return LeftOut(place, standing.because)
    try:
        return place, plan_in_force(desk, now, on)
    except PlannerError as error:
        return LeftOut(place, tuple(map(str, error.faults)))


def seat_at(desk: Desk, code: str | None, supervisor: str) -> OperatingPair:
    """Who sits down: a trainee by code, or none, under a supervisor. Raises NotCoveredError where no stage is known."""
    if code is None:
        return OperatingPair(None)
    trainee = desk.store.person(code).trainee_id or code
    known = {one.id for one in desk.unit.trainees} if desk.unit else set()
    if desk.unit is None or trainee not in known:
        where = f"{code} is no trainee of the unit's file" if desk.unit else "no unit's file was given"
        why = "who supervises and which steps are theirs goes by stage"
        raise NotCoveredError.one(f"the stage of {code} is not known: {where}", "", why, "give it with --unit")
    stage = desk.unit.stage_of(trainee, desk.rulebook)
    roster = desk.lists.roster if desk.lists else None
    can = {one.id: tuple(one.can) for one in roster.supervisors}.get(supervisor) if roster else None
    learner = next((one for one in roster.trainees if one.id == trainee), None) if roster else None
    return OperatingPair(stage, can, learner.cleared_at(stage) if learner is not None else None)


def _as_approved(desk: Desk, now: CaseNow, on: datetime.date, seat: OperatingPair | None) -> Plan:
    """The plan with the approval that stands on a day in force; as the rulebook has it where none does.

    `seat` is who sits down; None prints what was approved, for nobody in particular. The consultant prints by name,
    the time by the unit's clock. Raises NotCoveredError where the approval does not cover the seat.
    """
    approval, given, stage = now.approval, given_in(now, desk.rulebook), seat.stage if seat else None
    if approval is None or given is None or not stands_on(now, on, desk.rulebook):
        return desk.plans.plan(now.version, stage)
    printed = Approval(
        desk.store.person(approval.by).name, wall(approval.at), approval.tier_by_rulebook, approval.tier_approved,
        approval.every_condition, approval.reason, own_case=approval.own_case,
    )  # fmt: skip
    return with_approval(desk.plans.plan(now.version, stage or given.stage), desk.rulebook, printed, given, seat)
