"""Handing a case over: to whom, and why; whoever gets it, and whoever had it, hears of it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.owning import may_hand_over
from planner.records.roles import PREPARERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Reading, Visitor
from planner.web.server.forms import Form, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import CASE, CaseAsked, case_path

router = APIRouter()
LONGEST = 200


class HandOver(Form):
    """`owner` is whoever had the case when the page was shown."""

    to: str = ""
    why: Annotated[Text, up_to(LONGEST, f"The reason has more than {LONGEST} letters.")] = ""
    owner: str = ""


@router.get(CASE + "/hand-over")
def show(request: Request, visitor: Reading, now: CaseAsked) -> Response:
    return _page(request, visitor, now, HandOver())


@router.post(CASE + "/hand-over")
def hand_over(
    request: Request, visitor: Reading, form: Annotated[HandOver, Depends(HandOver.read)], now: CaseAsked
) -> Response:
    faults = tuple(form.wrong.values()) if form.to else ("Choose to whom it is handed over.",)
    try:
        if not faults:
            site_of(request).store.hand_over(now.case.id, form.owner, form.to, visitor.code, form.why)
            return RedirectResponse(case_path(now.case, "plan"), 303)
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    return _page(request, visitor, now, form, faults)


def _page(request: Request, visitor: Visitor, now: CaseNow, form: HandOver, faults: tuple[str, ...] = ()) -> Response:
    store = site_of(request).store
    people = [person for person in store.people(active_only=True) if person.role in PREPARERS]
    return page(
        request, "hand_over.html", 422 if faults else 200,
        case=now.case, now=now, path=case_path(now.case), faults=faults, to=form.to, why=form.why, longest=LONGEST,
        handed=store.handovers(now.case.id), people=[person for person in people if person.code != now.owner],
        may=may_hand_over(now.owners, visitor.code, visitor.role),
    )  # fmt: skip
