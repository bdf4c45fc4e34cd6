"""The plan of a case as it stands now: read here, printed as PDF, submitted for approval."""

from __future__ import annotations

import base64
import hashlib
import re
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, HTTPException, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from planner.desk.approving import submit as desk_submit
from planner.desk.plan_in_force import plan_in_force, shown_plan
from planner.documents.printing.html import render_html
from planner.documents.printing.pdf import PARTS, Part, render_pdf
from planner.records.approval_validity import standing_on
from planner.records.roles import PREPARERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Preparing, Reading, Visitor
from planner.web.server.case_state import clock_time, state_of
from planner.web.server.forms import Form, Number, SeenForm, Text, cut, refusals
from planner.web.server.presenting import page
from planner.web.server.printing import printed
from planner.web.server.site import CASE, CaseAsked, OrderedPrint, Site, case_now, case_path, site_of

router = APIRouter()
Note = Annotated[Text, cut(2000)]


class SubmitForm(SeenForm):
    version: Number = None
    note: Note = ""


class AnswerForm(Form):
    question: Number = None
    text: Note = ""


Submitted = Annotated[SubmitForm, Depends(SubmitForm.read)]
Answered = Annotated[AnswerForm, Depends(AnswerForm.read)]


@router.get(CASE + "/plan")
def show(request: Request, visitor: Reading, now: CaseAsked) -> Response:
    return _page(request, now)


@router.get(CASE + "/plan.html")
def document(request: Request, visitor: Reading, now: CaseAsked) -> Response:
    """The printed plan as a page of its own. It holds its styles and fonts, and no script may run in it."""
    made = render_html(plan_in_force(site_of(request).desk, now))
    policy = (
        f"default-src 'none'; style-src 'unsafe-hashes' {_style_hashes(made)}; font-src data:; img-src data:; "
        "form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
    )
    return HTMLResponse(made, headers={"Content-Security-Policy": policy})


@router.get(CASE + "/plan.pdf")
async def on_paper(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    """Theatre sheet and preparation."""
    return await _printed(request, visitor, reference, eye, PARTS)


@router.get(CASE + "/theatre.pdf")
async def theatre(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    return await _printed(request, visitor, reference, eye, ("theatre",))


@router.get(CASE + "/preparation.pdf")
async def preparation(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    return await _printed(request, visitor, reference, eye, ("preparation",))


async def _printed(request: Request, visitor: Visitor, reference: str, eye: str, parts: tuple[Part, ...]) -> Response:
    def order(site: Site) -> OrderedPrint:
        plan = plan_in_force(site.desk, case_now(request, reference, eye))
        safe = re.sub(r"[^A-Za-z0-9._-]", "-", reference)
        named = f"-{parts[0]}" if len(parts) == 1 else ""
        return OrderedPrint(site.prints.order(render_pdf, plan, parts), f"{safe}-{eye}{named}.pdf")

    back = quote(f"{request.url.path.rpartition('/')[0]}/plan")
    return await printed(request, visitor, back, order)


@router.post(CASE + "/submit")
def submit(request: Request, visitor: Preparing, form: Submitted, now: CaseAsked) -> Response:
    site, saved = site_of(request), now.version
    plan = site.desk.plans.planned(saved).plan
    if form.version != saved.number:
        told = f"{saved.by} saved this case at {clock_time(saved.at)}, after you opened this page."
        return _page(request, now, told, "Read the plan again as it is now, then submit it.", note=form.note)
    if plan is None:
        return _page(request, now, "The case cannot be judged as it is recorded.", note=form.note)
    if faults := refusals(form, desk_submit, site.desk, now, plan, visitor.code, form.note, form.seen):
        return _page(request, now, *faults, note=form.note)
    return RedirectResponse(case_path(now.case, "plan"), 303)


@router.post(CASE + "/answer")
def answer(request: Request, visitor: Preparing, form: Answered, now: CaseAsked) -> Response:
    """Answer a question that a consultant sent the case back with."""
    store = site_of(request).store
    if form.question not in {question.id for question in store.questions(now.case.id)}:
        raise HTTPException(404)
    if faults := refusals(form, store.answer, form.question, form.text, visitor.code):
        return _page(request, now, *faults)
    return RedirectResponse(case_path(now.case, "plan"), 303)


def _page(request: Request, now: CaseNow, *faults: str, note: str = "") -> Response:
    site = site_of(request)
    judged = site.desk.plans.planned(now.version)
    in_force, barred = shown_plan(site.desk, now) if judged.plan is not None else (None, ())
    return page(
        request, "plan_page.html",
        case=now.case, path=case_path(now.case), now=now, state=state_of(site, now), faults=faults, note=note,
        standing=standing_on(now, site.day_here(), site.rulebook), judged=judged, in_force=in_force, barred=barred,
        ended=next(reversed(site.store.approvals(now.case.id)), None), questions=site.store.questions(now.case.id),
        may_prepare=request.state.visitor.role in PREPARERS,
    )  # fmt: skip


def _style_hashes(made: str) -> str:
    """What the policy of a document must allow: the digest of each of its style sheets and style attributes."""
    styles = re.findall(r"<style[^>]*>(.*?)</style>", made, re.DOTALL) + re.findall(r'\sstyle="([^"]*)"', made)
    digests = {base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() for style in styles}
    return " ".join(f"'sha256-{digest}'" for digest in sorted(digests)) or "'none'"
