"""Giving a case its place: in a session of the roster, or by hand on any day, in any theatre."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.lists import lists_now
from planner.desk.placing import allocate
from planner.documents.figures import day as day_words
from planner.errors import PlannerError
from planner.records.approval_validity import holds_until
from planner.records.rows import CaseNow
from planner.web.approvals.standing import plan_as_approved, standing_of
from planner.web.lists.options import options_page
from planner.web.security.authorisation import Building
from planner.web.server.case_state import day_and_time
from planner.web.server.forms import Day, Form, Text
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import LISTING, case_path, find, list_path

router = APIRouter()
LONGEST_THEATRE = 30
WEEKS = 26


class PlaceForm(Form):
    approval: str = ""
    day: Day = None
    theatre: Text = ""
    place: Text = ""
    trainee: Text = ""
    supervisor: Text = ""

    def faults(self, theatre: str, today: datetime.date) -> list[str]:
        """Why nothing can be placed so, each in a sentence."""
        found = []
        if self.day is None:
            found.append("Day: write it as YYYY-MM-DD")
        elif self.day < today:
            found.append(f"Day: {day_words(self.day)} is over")
        if not theatre or len(theatre) > LONGEST_THEATRE:
            found.append(f"Theatre: its name, up to {LONGEST_THEATRE} letters")
        if self.place and not (self.place.isascii() and self.place.isdecimal()):
            found.append("Order: a whole number from 1 on, or nothing for the end of the list")
        elif len(self.place) > 2:
            found.append("Order: no list is that long")
        if not self.supervisor:
            found.append("Supervisor: choose who supervises")
        return found


@router.get(LISTING)
def ask(
    request: Request, visitor: Building, reference: str, eye: str, by_hand: Annotated[str, Query(alias="by-hand")] = ""
) -> Response:
    """Every session with its verdict, where there is a roster; else, or when asked for, any day and theatre."""
    now, site = _now(request, reference, eye), site_of(request)
    lists = None if by_hand else lists_now(site.desk)
    if lists is not None and (reference, eye) in lists.instance.cases:
        return options_page(request, now, lists)
    return _page(request, now, PlaceForm())


@router.post(LISTING)
def place(
    request: Request,
    visitor: Building,
    form: Annotated[PlaceForm, Depends(PlaceForm.read)],
    reference: str,
    eye: str,
) -> Response:
    site, now = site_of(request), _now(request, reference, eye)
    if now.approval is None or form.approval != str(now.approval.id):
        told = "The approval is another one than when you opened this page. Look at the case again; nothing was placed."
        return _page(request, now, form, (told,), 409)
    theatre = _as_known(site, " ".join(form.theatre.split()))
    faults = form.faults(theatre, site.day_here())
    if faults or form.day is None:
        return _page(request, now, form, tuple(faults), 422, theatre)
    here = [other.allocation for other in site.store.list_of(form.day)]
    last = max((at.place for at in here if at is not None and at.theatre == theatre), default=0)
    try:
        order = int(form.place) if form.place else 1 + last
        allocate(site.desk, now, form.day, theatre, order, form.trainee or None, form.supervisor, visitor.code)
    except PlannerError as error:
        return _page(request, now, form, tuple(map(str, error.faults)), 422, theatre)
    return RedirectResponse(f"/lists/{form.day}", 303)


def _coming(site: Site) -> tuple[CaseNow, ...]:
    return site.store.lists(site.day_here(), site.day_here() + datetime.timedelta(weeks=WEEKS))


def _as_known(site: Site, theatre: str) -> str:
    """A theatre as the coming lists spell it: one that differs in capitals only is no other theatre."""
    known = {now.allocation.theatre for now in _coming(site) if now.allocation}
    return next((name for name in sorted(known) if name.lower() == theatre.lower()), theatre)


def _now(request: Request, reference: str, eye: str) -> CaseNow:
    return site_of(request).store.case_now(find(request, reference, eye).id)


def _page(
    request: Request,
    now: CaseNow,
    form: PlaceForm,
    faults: tuple[str, ...] = (),
    status: int = 200,
    theatre: str | None = None,
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
        written=form.written if theatre is None else form.written | {"theatre": theatre}, supervisors=supervisors,
        trainees=[p for p in people if p.role == "trainee"], today=site.day_here().isoformat(),
        theatres=sorted({other.allocation.theatre for other in _coming(site) if other.allocation}),
        longest=LONGEST_THEATRE,
    )  # fmt: skip
