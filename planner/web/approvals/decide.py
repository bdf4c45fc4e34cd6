"""A consultant's decisions: approved as planned or as changed, sent back with a question, or withdrawn.

Each form says which version and which assessment it was made from. A decision on anything else is not taken.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import Decision, decided, stage_asked
from planner.desk.approving import approve as enter
from planner.errors import PlannerError
from planner.plan.approved import Covers
from planner.plan.plan import Plan
from planner.records.rows import CaseNow
from planner.web.approvals.case import LONGEST, case_page, who_may
from planner.web.approvals.decided_meanwhile import case_changed
from planner.web.approvals.glance import digest
from planner.web.security.authorisation import Deciding, Posted, Visitor
from planner.web.server.seen import seen_in
from planner.web.server.site import Site, site_of
from planner.web.server.urls import APPROVAL, approval_path, find

router = APIRouter()
NAMES = {"text": "question", "operator_conditions": "conditions on the operator"}
# What a form says of its own page, and is nobody's writing.
CARRIED = ("token", "version", "seen", "submission", "approval")


@router.post(APPROVAL)
def approve(request: Request, visitor: Deciding, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    plan = _plan(site, now)
    if plan is None or not seen(now, plan, form):
        return case_changed(request, now, form)
    written = {name: str(value).strip() for name, value in form.items() if name not in CARRIED}
    tier = _tier(written.get("tier", ""))
    faults = _too_long(written, ("conditions", "operator_conditions", "reason"))
    try:
        decision = _decision(plan, written)
        if faults:
            return case_page(request, now, visitor, tuple(faults), tier, written)
        enter(site.desk, now, plan, decision, visitor.code, who_may(site))
    except PlannerError as error:
        return _not_done(request, now, visitor, error, form, tier, written)
    return RedirectResponse(approval_path(now.case), 303)


@router.post(APPROVAL + "/send-back")
def send_back(request: Request, visitor: Deciding, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    plan = _plan(site, now)
    if plan is not None and not seen(now, plan, form):
        return case_changed(request, now, form)
    written = {"text": str(form.get("text", "")).strip()}
    try:
        if long := _too_long(written, ("text",)):
            return case_page(request, now, visitor, tuple(long), written=written)
        site.store.send_back(now.case.id, now.version.number, written["text"], visitor.code, seen=now.seen)
    except PlannerError as error:
        return _not_done(request, now, visitor, error, form, None, written)
    return RedirectResponse("/approvals", 303)


@router.post(APPROVAL + "/withdraw")
def withdraw(request: Request, visitor: Deciding, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    written = {"why": str(form.get("why", "")).strip()}
    if now.approval is None or seen_in(form).approval != now.approval.id:
        return case_changed(request, now, form)
    try:
        if long := _too_long(written, ("why",)):
            return case_page(request, now, visitor, tuple(long), written=written)
        site.store.withdraw(now.approval.id, written["why"], visitor.code)
    except PlannerError as error:
        return _not_done(request, now, visitor, error, form, None, written)
    return RedirectResponse(approval_path(now.case), 303)


def seen(now: CaseNow, plan: Plan, form: FormData) -> bool:
    """Whether a form was made from the case and the plan as they are now."""
    return (
        str(form.get("version", "")) == str(now.version.number)
        and str(form.get("seen", "")) == digest(plan)
        and seen_in(form) == now.seen
    )


def _now(request: Request, reference: str, eye: str) -> CaseNow:
    return site_of(request).store.case_now(find(request, reference, eye).id)


def _tier(text: str) -> int | None:
    return int(text) if text in ("1", "2", "3", "4") else None


def _plan(site: Site, now: CaseNow) -> Plan | None:
    """The plan that is decided on: for the stage that is asked for."""
    return site.plans.planned(now.version, stage_asked(site.desk, now)).plan


def _decision(plan: Plan, written: dict[str, str]) -> Decision:
    """What the form says, the plan's own where it says nothing; as named unless it names the table.

    Raises PlannerError.
    """
    tier = _tier(written.get("tier", str(plan.assessment.tier.working)))
    if tier is None:
        raise PlannerError.one("the form names no tier that there is", hint="load the page again")
    covers: Covers = "table" if written.get("covers") == "table" else "as-named"
    who = {step.id: written[f"who.{step.id}"] for step in plan.steps if f"who.{step.id}" in written}
    texts = {name: written.get(name, "") for name in ("conditions", "operator_conditions", "reason")}
    return decided(plan, covers, tier, written.get("mode", plan.supervision.mode), who, **texts)


def _too_long(written: dict[str, str], names: tuple[str, ...]) -> list[str]:
    long = [name for name in names if len(written.get(name, "")) > LONGEST]
    return [f"{NAMES.get(name, name)}: more than the {LONGEST} letters that print" for name in long]


def _not_done(
    request: Request,
    now: CaseNow,
    visitor: Visitor,
    error: PlannerError,
    form: FormData,
    tier: int | None,
    written: dict[str, str],
) -> Response:
    """What the store refused: because somebody was quicker, or for what was written."""
    site: Site = site_of(request)
    again = site.store.case_now(now.case.id)
    if (again.version.number, again.submission, again.approval) != (now.version.number, now.submission, now.approval):
        return case_changed(request, again, form)
    return case_page(request, now, visitor, tuple(map(str, error.faults)), tier, written)
