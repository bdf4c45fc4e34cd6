"""Handing a case over: to whom, and why; whoever gets it, and whoever had it, hears of it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.owning import may_hand_over
from planner.records.rows import PREPARERS
from planner.web.security.authorisation import Posted, Reading, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
LONGEST = 200


@router.get(CASE + "/hand-over")
def show(request: Request, visitor: Reading, reference: str, eye: str) -> Response:
    return _page(request, visitor, reference, eye)


@router.post(CASE + "/hand-over")
def hand_over(request: Request, visitor: Reading, form: Posted, reference: str, eye: str) -> Response:
    case = find(request, reference, eye)
    to, why = str(form.get("to", "")), str(form.get("why", "")).strip()
    if not to or len(why) > LONGEST:
        fault = f"The reason has more than {LONGEST} letters." if to else "Choose to whom it is handed over."
        return _page(request, visitor, reference, eye, (fault,), to, why)
    try:
        site_of(request).store.hand_over(case.id, str(form.get("owner", "")), to, visitor.code, why)
    except PlannerError as error:
        return _page(request, visitor, reference, eye, tuple(map(str, error.faults)), to, why)
    return RedirectResponse(case_path(case, "plan"), 303)


def _page(
    request: Request, visitor: Visitor, reference: str, eye: str, faults: tuple[str, ...] = (), to: str = "",
    why: str = "",
) -> Response:  # fmt: skip
    store = site_of(request).store
    now = store.case_now(find(request, reference, eye).id)
    handed = [(one, day_and_time(one.at)) for one in reversed(store.handovers(now.case.id))]
    people = [person for person in store.people(active_only=True) if person.role in PREPARERS]
    return page(
        request, "hand_over.html", 422 if faults else 200,
        case=now.case, now=now, path=case_path(now.case), handed=handed, faults=faults, to=to, why=why, longest=LONGEST,
        people=[person for person in people if person.code != now.owner],
        may=may_hand_over(now.owners, visitor.code, visitor.role),
    )  # fmt: skip
