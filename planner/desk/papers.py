"""A day's papers: for each case on its lists the plan in force, or why none is printed."""

from __future__ import annotations

import datetime

from planner.desk.desk import Desk
from planner.desk.plan_in_force import plan_in_force
from planner.documents.papers.sheet import LeftOut, Place
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.records.approval_validity import standing_on
from planner.records.rows import CaseNow


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
