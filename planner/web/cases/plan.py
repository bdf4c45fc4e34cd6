"""The plan of a case as it stands now: read here, printed as PDF, submitted for approval."""

from __future__ import annotations

import base64
import hashlib
import re
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from planner.desk.approving import submit as desk_submit
from planner.desk.plan_in_force import plan_in_force, shown_plan
from planner.documents.printing.html import render_html
from planner.documents.printing.pdf import render_pdf
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.records.rows import PREPARERS, CaseNow
from planner.web.approvals.standing import standing_of, state_of
from planner.web.security.authorisation import Posted, Preparing, Reading, Visitor
from planner.web.server.case_state import clock_time, day_and_time
from planner.web.server.presenting import page
from planner.web.server.printing import printed
from planner.web.server.seen import seen_in
from planner.web.server.site import Site, site_of
from planner.web.server.tickets import Ordered
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
LONGEST_NOTE = 2000


@router.get(CASE + "/plan")
def show(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    return _page(request, visitor, _now(request, reference, eye))


@router.get(CASE + "/plan.html")
def document(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    """The printed plan as a page of its own. It holds its styles and fonts, and no script may run in it."""
    made = render_html(_plan(request, reference, eye))
    policy = (
        f"default-src 'none'; style-src 'unsafe-hashes' {_style_hashes(made)}; font-src data:; img-src data:; "
        "form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
    )
    return HTMLResponse(made, headers={"Content-Security-Policy": policy})


@router.get(CASE + "/plan.pdf")
async def on_paper(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    def order(site: Site) -> Ordered:
        safe = re.sub(r"[^A-Za-z0-9._-]", "-", reference)
        return Ordered(site.prints.order(render_pdf, _plan(request, reference, eye)), f"{safe}-{eye}.pdf")

    return await printed(request, visitor, quote(request.url.path.removesuffix(".pdf")), order)


@router.post(CASE + "/submit")
def submit(request: Request, visitor: Preparing, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    plan = site.plans.planned(now.version).plan
    note = str(form.get("note", "")).strip()[:LONGEST_NOTE]
    if str(form.get("version", "")) != str(now.version.number):
        told = f"{now.version.by} saved this case at {clock_time(now.version.at)}, after you opened this page."
        return _page(request, visitor, now, (told, "Read the plan again as it stands now, then submit it."), note)
    if plan is None:
        return _page(request, visitor, now, ("The case cannot be judged as it is recorded.",), note)
    try:
        desk_submit(site.desk, now, plan, visitor.code, note, seen_in(form))
    except PlannerError as error:
        return _page(request, visitor, now, tuple(map(str, error.faults)), note)
    return RedirectResponse(case_path(now.case, "plan"), 303)


@router.post(CASE + "/answer")
def answer(request: Request, visitor: Preparing, form: Posted, reference: str, eye: str) -> Response:
    """Answer a question that a consultant sent the case back with."""
    site, now = site_of(request), _now(request, reference, eye)
    asked = str(form.get("question", ""))
    mine = {str(question.id): question for question in site.store.questions(now.case.id)}
    text = str(form.get("text", "")).strip()[:LONGEST_NOTE]
    if asked not in mine:
        raise HTTPException(404)
    try:
        site.store.answer(mine[asked].id, text, visitor.code)
    except PlannerError as error:
        return _page(request, visitor, now, tuple(map(str, error.faults)))
    return RedirectResponse(case_path(now.case, "plan"), 303)


def _now(request: Request, reference: str, eye: str) -> CaseNow:
    case = find(request, reference, eye)
    return site_of(request).store.case_now(case.id)


def _plan(request: Request, reference: str, eye: str) -> Plan:
    site, now = site_of(request), _now(request, reference, eye)
    return plan_in_force(site.desk, now)


def _page(request: Request, visitor: Visitor, now: CaseNow, faults: tuple[str, ...] = (), note: str = "") -> Response:
    site: Site = site_of(request)
    judged = site.plans.planned(now.version)
    in_force, barred = shown_plan(site.desk, now) if judged.plan is not None else (None, ())
    return page(
        request, "plan_page.html", 422 if faults else 200,
        case=now.case, path=case_path(now.case), now=now, state=state_of(site, now),
        standing=standing_of(site, now), judged=judged,
        in_force=in_force, barred=barred, ended=next(reversed(site.store.approvals(now.case.id)), None),
        faults=faults, note=note, saved_at=day_and_time(now.version.at),
        submitted_at=day_and_time(now.submission.at) if now.submission else "",
        approved_at=day_and_time(now.approval.at) if now.approval else "",
        questions=site.store.questions(now.case.id), when=day_and_time,
        may_prepare=visitor.role in PREPARERS,
    )  # fmt: skip


def _style_hashes(made: str) -> str:
    """What the policy of a document must allow: the digest of each of its style sheets and style attributes."""
    styles = re.findall(r"<style[^>]*>(.*?)</style>", made, re.DOTALL) + re.findall(r'\sstyle="([^"]*)"', made)
    digests = {base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() for style in styles}
    return " ".join(f"'sha256-{digest}'" for digest in sorted(digests)) or "'none'"
