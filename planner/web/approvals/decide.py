"""A consultant's decisions: approved as planned or as changed, sent back with a question, or withdrawn.

Each form says which version and which assessment it was made from. A decision on anything else is not taken.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import Decision, case_for_approval, decided, stage_asked
from planner.desk.approving import approve as enter
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.records.rows import CaseNow
from planner.web.approvals.case import DecisionForm, case_page
from planner.web.approvals.decided_meanwhile import case_changed
from planner.web.approvals.glance import digest
from planner.web.security.authorisation import Deciding, Visitor
from planner.web.server.site import Site, site_of
from planner.web.server.urls import APPROVAL, CaseAsked, approval_path

router = APIRouter()
Decided = Annotated[DecisionForm, Depends(DecisionForm.read)]


@router.post(APPROVAL)
def approve(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    site = site_of(request)
    plan = _plan(site, now)
    if plan is None or not _as_shown(form, now, plan):
        return case_changed(request, now, form)

    def entered() -> None:
        decision = _decision(plan, form)
        if not form.wrong:
            enter(site.desk, now, plan, decision, visitor.code)

    return _done(request, now, visitor, form, entered, approval_path(now.case))


@router.post(APPROVAL + "/send-back")
def send_back(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    site = site_of(request)
    plan = _plan(site, now)
    if plan is not None and not _as_shown(form, now, plan):
        return case_changed(request, now, form)

    def entered() -> None:
        if not form.wrong:
            site.store.send_back(now.case.id, now.version.number, form.text, visitor.code, seen=now.seen)

    return _done(request, now, visitor, form, entered, "/approvals")


@router.post(APPROVAL + "/withdraw")
def withdraw(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    given = now.approval
    if given is None or form.approval != given.id:
        return case_changed(request, now, form)

    def entered() -> None:
        if not form.wrong:
            site_of(request).store.withdraw(given.id, form.why, visitor.code)

    return _done(request, now, visitor, form, entered, approval_path(now.case))


def _as_shown(form: DecisionForm, now: CaseNow, plan: Plan) -> bool:
    """Whether a form was made from the case and the plan as they are now."""
    return form.version == now.version.number and form.plan_shown == digest(plan) and form.seen == now.seen


def _plan(site: Site, now: CaseNow) -> Plan | None:
    """The plan that is decided on: for the stage that is asked for."""
    return site.desk.plans.planned(now.version, stage_asked(site.desk, now)).plan


def _decision(plan: Plan, form: DecisionForm) -> Decision:
    """What the form says, the plan's own where it says nothing; as named unless it names the table.

    Raises PlannerError.
    """
    tier = form.tier or (None if "tier" in form.typed else plan.assessment.tier.working)
    if tier is None:
        raise PlannerError.one("the form names no tier that there is", hint="load the page again")
    mode = form.mode or plan.supervision.mode
    texts = {"conditions": form.conditions, "operator_conditions": form.operator_conditions, "reason": form.reason}
    return decided(plan, form.covers or "as-named", tier, mode, form.who, **texts)


def _done(
    request: Request, now: CaseNow, visitor: Visitor, form: DecisionForm, enter: Callable[[], None], then: str
) -> Response:
    """The decision entered; or what was refused, because somebody was quicker, or for what was written."""
    faults = tuple(form.wrong.values())
    try:
        enter()
    except PlannerError as error:
        again = site_of(request).store.case_now(now.case.id)
        if (again.version.number, again.seen) != (now.version.number, now.seen):
            return case_changed(request, again, form)
        faults = tuple(map(str, error.faults))
    if faults:
        return case_page(
            request, case_for_approval(site_of(request).desk, now, visitor.code), faults, form.tier, form.typed
        )
    return RedirectResponse(then, 303)
