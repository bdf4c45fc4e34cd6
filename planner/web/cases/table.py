"""The cases by urgency, a case entered, one handed over, and the notices: what its person must hear of."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.readings import read_day
from planner.records.approval_validity import stands_on
from planner.records.identifiers import reference_fault
from planner.records.owning import may_hand_over
from planner.records.roles import PREPARERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Preparing, Reading, SignedIn
from planner.web.server.case_state import finding_words, state_of, turn
from planner.web.server.forms import Form, Number, Text, refusals, up_to
from planner.web.server.presenting import page
from planner.web.server.site import CASE, CaseAsked, Site, case_path, site_of

router = APIRouter()
Reference = Annotated[Text, up_to(60, "at most 60 characters fit a printed line")]
LONGEST = 200
SEEN_SHOWN = 20


class NewCase(Form):
    """The unit's reference, the side, and nothing that says who the patient is."""

    case: Reference = ""
    patient: Reference = ""
    eye: Literal["right", "left", ""] = ""
    planned_stage: Text = ""


class HandOver(Form):
    """`owner` is whoever had the case when the page was shown."""

    to: str = ""
    why: Annotated[Text, up_to(LONGEST, f"The reason has more than {LONGEST} characters.")] = ""
    owner: str = ""


class SeenNotice(Form):
    notice: Number = None


Whose = Annotated[str, Query(max_length=10)]
Sought = Annotated[str, Query(max_length=60)]
Entered = Annotated[NewCase, Depends(NewCase.read)]
Handed = Annotated[HandOver, Depends(HandOver.read)]
Noticed = Annotated[SeenNotice, Depends(SeenNotice.read)]


@router.get("/cases")
def cases(request: Request, visitor: Reading, whose: Whose = "", q: Sought = "") -> Response:
    site, may_prepare = site_of(request), visitor.role in PREPARERS
    every = site.store.cases()
    mine = [now for now in every if visitor.code in (*now.owners, now.version.by)]
    show_all, wanted = whose == "all" or not may_prepare, q.strip().lower()
    found = [now for now in (every if show_all else mine) if wanted in now.case.reference.lower()]
    rows = [_row(site, now) for now in sorted(found, key=lambda now: (turn(site, now.version), now.case.reference))]
    return page(
        request, "cases.html", rows=rows, q=q.strip(), show_all=show_all, mine=len(mine), every=len(every),
        may_prepare=may_prepare,
    )  # fmt: skip


def _row(site: Site, now: CaseNow) -> dict[str, object]:
    return {
        "now": now, "state": state_of(site, now), "stands": stands_on(now, site.day_here(), site.rulebook),
        "assessment": site.desk.plans.planned(now.version).assessment,
        "urgency": finding_words(site, now.version, "urgency"),
        "needed_by": read_day(now.version.findings.get("needed_by")),
    }  # fmt: skip


@router.get("/cases/new")
def blank(request: Request, visitor: Preparing) -> Response:
    return _new_page(request, NewCase(), {})


@router.post("/cases/new")
def enter(request: Request, visitor: Preparing, form: Entered) -> Response:
    site = site_of(request)
    if wrong := _wrong(form):
        return _new_page(request, form, wrong, status=422)
    document = {name: text for name, text in form.model_dump().items() if text}
    document |= {"recorded_on": site.day_here().isoformat(), "examined_by": visitor.code}
    try:
        case = site.store.case(site.store.new_case(document, visitor.code).case_id)
    except PlannerError as error:
        return _new_page(request, form, {}, *map(str, error.faults))
    return RedirectResponse(case_path(case), 303)


def _wrong(form: NewCase) -> dict[str, str]:
    """Why each field is refused."""
    wrong = {}
    if not form.case:
        wrong["case"] = "a plan must name its case; write the unit's own reference, such as A-104"
    for name, text in (("case", form.case), ("patient", form.patient)):
        if text and (fault := reference_fault(text, name)):
            wrong[name] = f"{fault.what}: {fault.why}; write {fault.hint}"
        elif name in form.wrong:
            wrong[name] = form.wrong[name]
    if not form.eye:
        wrong["eye"] = "choose the side; a plan without a side could be used on the wrong eye"
    return wrong


def _new_page(request: Request, form: NewCase, wrong: dict[str, str], *faults: str, status: int = 0) -> Response:
    stages = site_of(request).rulebook.stages.stages
    return page(request, "new_case.html", status, written=form, wrong=wrong, faults=faults, stages=stages)


@router.get(CASE + "/hand-over")
def show(request: Request, visitor: Reading, now: CaseAsked) -> Response:
    return _hand_over_page(request, now, HandOver())


@router.post(CASE + "/hand-over")
def hand_over(request: Request, visitor: Reading, form: Handed, now: CaseAsked) -> Response:
    """The case handed over: whoever gets it, and whoever had it, hears of it."""
    if not form.to:
        return _hand_over_page(request, now, form, "Choose to whom it is handed over.")
    store = site_of(request).store
    if faults := refusals(form, store.hand_over, now.case.id, form.owner, form.to, visitor.code, form.why):
        return _hand_over_page(request, now, form, *faults)
    return RedirectResponse(case_path(now.case, "plan"), 303)


def _hand_over_page(request: Request, now: CaseNow, form: HandOver, *faults: str) -> Response:
    store, visitor = site_of(request).store, request.state.visitor
    people = [one for one in store.people(active_only=True) if one.role in PREPARERS and one.code != now.owner]
    return page(
        request, "hand_over.html",
        case=now.case, now=now, path=case_path(now.case), faults=faults, to=form.to, why=form.why, longest=LONGEST,
        handed=store.handovers(now.case.id), people=people, may=may_hand_over(now.owners, visitor.code, visitor.role),
    )  # fmt: skip


@router.get("/notices")
def notices(request: Request, visitor: SignedIn) -> Response:
    store = site_of(request).store
    told = store.notices(visitor.code, unseen_only=False)
    cases = {one.case_id: store.case(one.case_id) for one in told if one.case_id is not None}
    seen = [one for one in told if one.seen][:SEEN_SHOWN]
    return page(request, "notices.html", fresh=[one for one in told if not one.seen], seen=seen, cases=cases)


@router.post("/notices/seen")
def see(request: Request, visitor: SignedIn, form: Noticed) -> Response:
    """Mark one notice as seen, by the person it is for."""
    store = site_of(request).store
    mine = {notice.id: notice for notice in store.notices(visitor.code, unseen_only=False)}
    if form.notice not in mine:
        raise HTTPException(404)
    if not mine[form.notice].seen:
        store.see_notice(form.notice, visitor.code)
    return RedirectResponse("/notices", 303)
