"""A consultant's decisions: approved as planned or as changed, sent back with a question, or withdrawn.

Each form says which version and which assessment it was made from. A decision on anything else is not taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from planner.documents.json_form import plan_json
from planner.errors import PlannerError
from planner.plan.approved import NO_TRAINEE, refused
from planner.plan.plan import Plan
from planner.records.rows import CaseNow, StepChange
from planner.rulebook.shapes import MODES
from planner.web.approvals_case import LONGEST, case_page, who_may
from planner.web.approvals_changed import case_changed
from planner.web.approvals_glance import digest
from planner.web.door import Door, Posted, Visitor
from planner.web.places import APPROVAL, approval_path, find
from planner.web.seen import seen_in
from planner.web.site import Site, site_of

router = APIRouter()
Deciding = Annotated[Visitor, Depends(Door("consultant"))]

# What a form says of its own page, and is nobody's writing.
CARRIED = ("token", "version", "seen", "submission", "approval")


@dataclass(frozen=True)
class Decision:
    tier: int
    mode: str
    steps: tuple[StepChange, ...]


@router.post(APPROVAL)
def approve(request: Request, visitor: Deciding, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    plan = site.judge.judge(now.version).plan
    if plan is None or not seen(now, plan, form):
        return case_changed(request, now, form)
    written = {name: str(value).strip() for name, value in form.items() if name not in CARRIED}
    tier = _tier(written.get("tier", ""))
    faults = [*_too_long(written, ("conditions", "reason"))]
    try:
        decision = _decision(plan, written)
        if why := refused(plan, decision.mode, {step.step: step.who for step in decision.steps}):
            faults.append(f"{why} No approval puts a trainee's hands in that eye.")
        if faults:
            return case_page(request, now, visitor, tuple(faults), tier, written)
        kept = site.store.keep_snapshot(
            now.case.id, now.version.number, plan_json(plan), visitor.code,
            mode=plan.supervision.mode, mode_by=plan.supervision.by, stage=plan.supervision.stage,
        )  # fmt: skip
        site.store.approve(
            now.case.id, now.version.number, kept.id, visitor.code, decision.tier, decision.mode, decision.steps,
            written.get("conditions", ""), written.get("reason", ""), seen=now.seen, allowed=who_may(site),
        )  # fmt: skip
    except PlannerError as error:
        return _not_done(request, now, visitor, error, form, tier, written)
    return RedirectResponse(approval_path(now.case), 303)


@router.post(APPROVAL + "/send-back")
def send_back(request: Request, visitor: Deciding, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    plan = site.judge.judge(now.version).plan
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


def _decision(plan: Plan, written: dict[str, str]) -> Decision:
    """What the form says, the plan's own where it says nothing. Raises PlannerError."""
    planned = plan.supervision.mode
    tier = _tier(written.get("tier", str(plan.assessment.tier.working)))
    mode = written.get("mode", planned)
    if tier is None or mode not in MODES:
        raise PlannerError.one("the form names no tier or no supervision that there is", hint="load the page again")
    steps = []
    for step in plan.steps:
        who = "supervisor" if mode == NO_TRAINEE else written.get(f"who.{step.id}", step.who)
        if who not in ("trainee", "supervisor"):
            raise PlannerError.one("a step is in nobody's hands", step.label, hint="choose trainee or supervisor")
        if who != step.who:
            steps.append(StepChange(step.id, who))
    return Decision(tier, mode, tuple(steps))


def _too_long(written: dict[str, str], names: tuple[str, ...]) -> list[str]:
    long = [name for name in names if len(written.get(name, "")) > LONGEST]
    return [f"{'question' if name == 'text' else name}: more than the {LONGEST} letters that print" for name in long]


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
