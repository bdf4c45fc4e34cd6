"""A consultant's decisions: approved as planned or as changed, sent back with a question, or withdrawn.

Each form says which version and which assessment it was made from. A decision on anything else is not taken: the page
then says what changed meanwhile, and what was written, so that nothing of it is lost.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import approve as enter
from planner.desk.approving import decided, stage_asked
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.records.changes import flat, names_changed
from planner.records.deciding import Act
from planner.records.rows import CaseNow, CaseVersion
from planner.web.approvals.case import DecisionForm, case_page, digest
from planner.web.cases.fields import labels, shown_value
from planner.web.security.authorisation import Deciding
from planner.web.server.forms import refusals
from planner.web.server.presenting import page
from planner.web.server.site import APPROVAL, CaseAsked, Site, approval_path, site_of

router = APIRouter()
Decided = Annotated[DecisionForm, Depends(DecisionForm.read)]
WRITTEN = {
    "conditions": "Conditions",
    "operator_conditions": "Conditions on the operator",
    "reason": "Reason",
    "text": "Question",
    "why": "Reason to withdraw",
}
COVERED = {"table": "the table, whoever operates", "as-named": "as named alone"}


@router.post(APPROVAL)
def approve(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    site = site_of(request)
    plan = _plan(site, now)
    if plan is None or not _as_shown(form, now, plan):
        return _case_changed(request, now, form)
    return _done(request, now, form, approval_path(now.case), partial(_approve, site, now, plan, form, visitor.code))


@router.post(APPROVAL + "/send-back")
def send_back(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    site = site_of(request)
    plan = _plan(site, now)
    if plan is not None and not _as_shown(form, now, plan):
        return _case_changed(request, now, form)
    sent = now.case.id, now.version.number, form.text, visitor.code
    return _done(request, now, form, "/approvals", partial(site.store.send_back, *sent, seen=now.seen))


@router.post(APPROVAL + "/withdraw")
def withdraw(request: Request, visitor: Deciding, form: Decided, now: CaseAsked) -> Response:
    given = now.approval
    if given is None or form.approval != given.id:
        return _case_changed(request, now, form)
    act = partial(site_of(request).store.withdraw, given.id, form.why, visitor.code)
    return _done(request, now, form, approval_path(now.case), act)


def _as_shown(form: DecisionForm, now: CaseNow, plan: Plan) -> bool:
    """Whether a form was made from the case and the plan as they are now."""
    return form.version == now.version.number and form.plan_shown == digest(plan) and form.seen == now.seen


def _plan(site: Site, now: CaseNow) -> Plan | None:
    """The plan that is decided on: for the stage that is asked for."""
    return site.desk.plans.planned(now.version, stage_asked(site.desk, now)).plan


def _approve(site: Site, now: CaseNow, plan: Plan, form: DecisionForm, by: str) -> None:
    """Enter what the form says, the plan's own where it says nothing; as named unless it names the table."""
    tier = form.tier or (None if "tier" in form.typed else plan.assessment.tier.working)
    if tier is None:
        raise PlannerError.one("the form names no tier that there is", hint="load the page again")
    mode = form.mode or plan.supervision.mode
    texts = {"conditions": form.conditions, "operator_conditions": form.operator_conditions, "reason": form.reason}
    enter(site.desk, now, plan, decided(plan, form.covers or "as-named", tier, mode, form.who, **texts), by)


def _done(request: Request, now: CaseNow, form: DecisionForm, then: str, act: Callable[[], object]) -> Response:
    """The decision entered; or what was refused, because somebody was quicker, or for what was written."""
    if not (faults := refusals(form, act)):
        return RedirectResponse(then, 303)
    again = site_of(request).store.case_now(now.case.id)
    if (again.version.number, again.seen) != (now.version.number, now.seen):
        return _case_changed(request, again, form)
    return case_page(request, now, *faults, tier=form.tier, written=form.typed)


def _case_changed(request: Request, now: CaseNow, form: DecisionForm) -> Response:
    """The page that refuses (409). `now` is the case as it stands."""
    site, acts = site_of(request), tuple[Act, ...]()
    then: CaseVersion | None = None
    # A version, or ids, that are of no page of this case say nothing of what was there then, or was done since.
    with suppress(PlannerError):
        then = site.store.version(now.case.id, form.version) if form.version is not None else None
    with suppress(PlannerError):
        acts = site.store.decided_since(now.case.id, form.seen)

    def tier(version: CaseVersion) -> str:
        assessment = site.desk.plans.planned(version).assessment
        return str(assessment.tier.working) if assessment else "cannot be judged"

    return page(
        request, "approval_changed.html", 409,
        case=now.case, now=now, path=approval_path(now.case), acts=acts,
        newer=then is not None and then.number != now.version.number,
        changes=_changes(site, then, now.version) if then else [],
        tier_then=tier(then) if then else "", tier_now=tier(now.version),
        written=[(label, getattr(form, name)) for name, label in WRITTEN.items() if getattr(form, name)]
        + _chosen(site, now, form),
    )  # fmt: skip


def _chosen(site: Site, now: CaseNow, form: DecisionForm) -> list[tuple[str, str]]:
    """What was chosen in the form for changes: tier, supervision, and the steps in other hands than planned."""
    said = [("What it covers", COVERED[form.covers])] if form.covers else []
    if form.tier is None:
        return said
    plan, modes = _plan(site, now), {str(name): words for name, words in site.rulebook.supervision.modes.items()}
    steps = plan.steps if plan else ()
    hands = [(step.label, form.who[step.id]) for step in steps if form.who.get(step.id, step.who) != step.who]
    return [*said, ("Tier", str(form.tier)), ("Supervision", modes.get(form.mode, form.mode)), *hands]


def _changes(site: Site, then: CaseVersion, current: CaseVersion) -> list[tuple[str, str, str]]:
    """What differs: its label, as it was seen, as it is."""
    vocabulary, names = site.rulebook.vocabulary, labels(site.rulebook.vocabulary)
    documents = flat(then.document), flat(current.document)
    found = []
    for name in names_changed(then.document, current.document):
        before, after = (shown_value(vocabulary, name, document.get(name)) for document in documents)
        found.append((names.get(name, name), before, after))
    return found
