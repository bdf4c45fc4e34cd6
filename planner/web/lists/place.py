"""Giving a case its place by hand: day, theatre, order, who operates and who supervises."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.placing import allocate
from planner.documents.figures import day as day_words
from planner.errors import PlannerError
from planner.readings import read_day
from planner.records.rows import CaseNow
from planner.records.validity import holds_until
from planner.web.approvals.standing import plan_as_approved, standing_of
from planner.web.lists.judged import has_sessions, state_of
from planner.web.lists.options import options_page
from planner.web.security.authorisation import Building, Posted
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import LISTING, case_path, find, list_path

router = APIRouter()
FIELDS = ("day", "theatre", "place", "trainee", "supervisor")
LONGEST_THEATRE = 30
WEEKS = 26


@router.get(LISTING)
def ask(
    request: Request, visitor: Building, reference: str, eye: str, by_hand: Annotated[str, Query(alias="by-hand")] = ""
) -> Response:
    """Every session with its verdict, where there is a sessions file; else, or when asked for, any day and theatre."""
    now, site = _now(request, reference, eye), site_of(request)
    if has_sessions(site) and not by_hand:
        state = state_of(site)
        if (reference, eye) in state.held.instance.cases:
            return options_page(request, now, state)
    return _form(request, now, {})


@router.post(LISTING)
def place(request: Request, visitor: Building, form: Posted, reference: str, eye: str) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    written = {name: str(form.get(name, "")).strip() for name in FIELDS}
    if now.approval is None or str(form.get("approval", "")) != str(now.approval.id):
        told = "The approval is another one than when you opened this page. Look at the case again; nothing was placed."
        return _form(request, now, written, (told,), 409)
    written["theatre"] = _as_known(site, " ".join(written["theatre"].split()))
    day, faults = read_day(written["day"]), []
    if day is None:
        faults.append("Day: write it as YYYY-MM-DD")
    elif day < site.day_here():
        faults.append(f"Day: {day_words(day)} is over")
    if not written["theatre"] or len(written["theatre"]) > LONGEST_THEATRE:
        faults.append(f"Theatre: its name, up to {LONGEST_THEATRE} letters")
    if written["place"] and not (written["place"].isascii() and written["place"].isdecimal()):
        faults.append("Order: a whole number from 1 on, or nothing for the end of the list")
    elif len(written["place"]) > 2:
        faults.append("Order: no list is that long")
    if not written["supervisor"]:
        faults.append("Supervisor: choose who supervises")
    if faults or day is None:
        return _form(request, now, written, tuple(faults), 422)
    order = int(written["place"]) if written["place"] else 0
    if not written["place"]:
        held = [other.allocation for other in site.store.list_of(day)]
        order = 1 + max((at.place for at in held if at is not None and at.theatre == written["theatre"]), default=0)
    try:
        allocate(
            site.desk, now, day, written["theatre"], order, written["trainee"] or None, written["supervisor"],
            visitor.code,
        )  # fmt: skip
    except PlannerError as error:
        return _form(request, now, written, tuple(map(str, error.faults)), 422)
    return RedirectResponse(f"/lists/{day}", 303)


def _coming(site: Site) -> tuple[CaseNow, ...]:
    return site.store.lists(site.day_here(), site.day_here() + datetime.timedelta(weeks=WEEKS))


def _as_known(site: Site, theatre: str) -> str:
    """A theatre as the coming lists spell it: one that differs in capitals only is no other theatre."""
    known = {now.allocation.theatre for now in _coming(site) if now.allocation}
    return next((name for name in sorted(known) if name.lower() == theatre.lower()), theatre)


def _now(request: Request, reference: str, eye: str) -> CaseNow:
    return site_of(request).store.case_now(find(request, reference, eye).id)


def _form(
    request: Request, now: CaseNow, written: Mapping[str, str], faults: tuple[str, ...] = (), status: int = 200
) -> Response:
    site = site_of(request)
    plan, until = site.plans.planned(now.version).plan, holds_until(now, site.rulebook)
    holds = f"{day_words(until[0])} ({until[1]})" if until else "no dated measurement"
    people = site.store.people(active_only=True)
    # Whoever supervises is most often a consultant; a trainee may be cleared to.
    supervisors = [p for p in people if p.role == "consultant"] + [p for p in people if p.role == "trainee"]
    return page(
        request, "list_place.html", status,
        case=now.case, now=now, path=list_path(now.case), plan_path=case_path(now.case, "plan"), faults=faults,
        plan=plan_as_approved(site, now) if plan else None, standing=standing_of(site, now), holds=holds,
        approved_at=day_and_time(now.approval.at) if now.approval else "",
        written=dict.fromkeys(FIELDS, "") | dict(written), supervisors=supervisors,
        trainees=[p for p in people if p.role == "trainee"], today=site.day_here().isoformat(),
        theatres=sorted({other.allocation.theatre for other in _coming(site) if other.allocation}),
        longest=LONGEST_THEATRE,
    )  # fmt: skip
