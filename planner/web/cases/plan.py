"""The plan of a case as it stands now: read here, printed as PDF, submitted for approval."""

from __future__ import annotations

import base64
import hashlib
import re
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from planner.desk.approving import submit as desk_submit
from planner.desk.plan_in_force import plan_in_force, shown_plan
from planner.documents.printing.html import render_html
from planner.documents.printing.pdf import render_pdf
from planner.errors import PlannerError
from planner.records.approval_validity import standing_on
from planner.records.roles import PREPARERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Preparing, Reading, Visitor
from planner.web.server.case_state import clock_time, state_of
from planner.web.server.forms import Form, Number, SeenForm, Text, cut
from planner.web.server.presenting import page
from planner.web.server.printing import printed
from planner.web.server.site import Site, site_of
from planner.web.server.tickets import OrderedPrint
from planner.web.server.urls import CASE, CaseAsked, case_now, case_path

router = APIRouter()
Note = Annotated[Text, cut(2000)]


class SubmitForm(SeenForm):
    version: Number = None
    note: Note = ""


class AnswerForm(Form):
    question: Number = None
    text: Note = ""


@router.get(CASE + "/plan")
def show(request: Request, visitor: Reading, now: CaseAsked) -> Response:
    return _page(request, visitor, now)


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
    def order(site: Site) -> OrderedPrint:
        plan = plan_in_force(site.desk, case_now(request, reference, eye))
        safe = re.sub(r"[^A-Za-z0-9._-]", "-", reference)
        return OrderedPrint(site.prints.order(render_pdf, plan), f"{safe}-{eye}.pdf")

    return await printed(request, visitor, quote(request.url.path.removesuffix(".pdf")), order)


@router.post(CASE + "/submit")
def submit(
    request: Request, visitor: Preparing, form: Annotated[SubmitForm, Depends(SubmitForm.read)], now: CaseAsked
) -> Response:
    site = site_of(request)
    plan, saved = site.desk.plans.planned(now.version).plan, now.version
    if form.version != saved.number:
        told = f"{saved.by} saved this case at {clock_time(saved.at)}, after you opened this page."
        return _page(request, visitor, now, (told, "Read the plan again as it stands now, then submit it."), form.note)
    if plan is None:
        return _page(request, visitor, now, ("The case cannot be judged as it is recorded.",), form.note)
    try:
        desk_submit(site.desk, now, plan, visitor.code, form.note, form.seen)
    except PlannerError as error:
        return _page(request, visitor, now, tuple(map(str, error.faults)), form.note)
    return RedirectResponse(case_path(now.case, "plan"), 303)


@router.post(CASE + "/answer")
def answer(
    request: Request, visitor: Preparing, form: Annotated[AnswerForm, Depends(AnswerForm.read)], now: CaseAsked
) -> Response:
    """Answer a question that a consultant sent the case back with."""
    store = site_of(request).store
    if form.question not in {question.id for question in store.questions(now.case.id)}:
        raise HTTPException(404)
    try:
        store.answer(form.question, form.text, visitor.code)
    except PlannerError as error:
        return _page(request, visitor, now, tuple(map(str, error.faults)))
    return RedirectResponse(case_path(now.case, "plan"), 303)


def _page(request: Request, visitor: Visitor, now: CaseNow, faults: tuple[str, ...] = (), note: str = "") -> Response:
    site: Site = site_of(request)
    judged = site.desk.plans.planned(now.version)
    in_force, barred = shown_plan(site.desk, now) if judged.plan is not None else (None, ())
    return page(
        request, "plan_page.html", 422 if faults else 200,
        case=now.case, path=case_path(now.case), now=now, state=state_of(site, now), faults=faults, note=note,
        standing=standing_on(now, site.day_here(), site.rulebook), judged=judged, in_force=in_force, barred=barred,
        ended=next(reversed(site.store.approvals(now.case.id)), None), questions=site.store.questions(now.case.id),
        may_prepare=visitor.role in PREPARERS,
    )  # fmt: skip


def _style_hashes(made: str) -> str:
    """What the policy of a document must allow: the digest of each of its style sheets and style attributes."""
    styles = re.findall(r"<style[^>]*>(.*?)</style>", made, re.DOTALL) + re.findall(r'\sstyle="([^"]*)"', made)
    digests = {base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() for style in styles}
    return " ".join(f"'sha256-{digest}'" for digest in sorted(digests)) or "'none'"
