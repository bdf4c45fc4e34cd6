"""Lists by hand, on any day and in any theatre: a case given its place, the day as it hangs, a case taken off."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.doubts import doubts
from planner.desk.lists import lists_now
from planner.desk.placing import allocate
from planner.desk.plan_in_force import plan_as_given, shown_plan
from planner.documents.figures import day as day_words
from planner.readings import read_day
from planner.records.approval_validity import standing_on
from planner.records.roles import BUILDERS, PREPARERS
from planner.records.rows import CaseNow
from planner.web.lists.change import LONGEST, options_page
from planner.web.security.authorisation import Building, Reading
from planner.web.server.case_state import holds_words
from planner.web.server.forms import Day, Form, Text, refusals, up_to
from planner.web.server.presenting import page
from planner.web.server.site import LISTING, CaseAsked, Site, site_of

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
            found.append(f"Theatre: its name, up to {LONGEST_THEATRE} characters")
        if self.place and not (self.place.isascii() and self.place.isdecimal()):
            found.append("Order: a whole number from 1 on, or nothing for the end of the list")
        elif len(self.place) > 2:
            found.append("Order: no list is that long")
        if not self.supervisor:
            found.append("Supervisor: choose who supervises")
        return found


class TakeOffForm(Form):
    allocation: str = ""
    why: Annotated[Text, up_to(LONGEST, f"The reason has more than {LONGEST} characters.")] = ""


Place = Annotated[PlaceForm, Depends(PlaceForm.read)]
TakeOff = Annotated[TakeOffForm, Depends(TakeOffForm.read)]


@router.get(LISTING)
def ask(
    request: Request, visitor: Building, now: CaseAsked, by_hand: Annotated[str, Query(alias="by-hand")] = ""
) -> Response:
    """Every session with its verdict, where there is a roster; else, or when asked for, any day and theatre."""
    lists = None if by_hand else lists_now(site_of(request).desk)
    if lists is not None and (now.case.reference, now.case.eye) in lists.instance.cases:
        return options_page(request, now, lists)
    return _place_page(request, now, PlaceForm().written)


@router.post(LISTING)
def place(request: Request, visitor: Building, form: Place, now: CaseAsked) -> Response:
    site = site_of(request)
    if now.approval is None or form.approval != str(now.approval.id):
        told = "The approval is another one than when you opened this page. Look at the case again; nothing was placed."
        return _place_page(request, now, form.written, told, status=409)
    theatre = " ".join(form.theatre.split())
    # Spelt as the coming lists have it: one that differs in capitals only is no other theatre.
    theatre = next((name for name in _theatres(site) if name.lower() == theatre.lower()), theatre)
    written, faults = form.written | {"theatre": theatre}, form.faults(theatre, site.day_here())
    if faults or form.day is None:
        return _place_page(request, now, written, *faults)
    here = [other.allocation for other in site.store.list_of(form.day)]
    last = max((at.place for at in here if at is not None and at.theatre == theatre), default=0)
    where = form.day, theatre, int(form.place) if form.place else 1 + last
    people = form.trainee or None, form.supervisor, visitor.code
    if refused := refusals(form, allocate, site.desk, now, *where, *people):
        return _place_page(request, now, written, *refused)
    return RedirectResponse(f"/lists/{form.day}", 303)


def _theatres(site: Site) -> list[str]:
    """The theatres of the coming lists."""
    coming = site.store.lists(site.day_here(), site.day_here() + datetime.timedelta(weeks=WEEKS))
    return sorted({now.allocation.theatre for now in coming if now.allocation})


def _place_page(request: Request, now: CaseNow, written: dict[str, str], *faults: str, status: int = 0) -> Response:
    site = site_of(request)
    return page(
        request, "list_place.html", status,
        case=now.case, now=now, faults=faults, holds=holds_words(site, now), longest=LONGEST_THEATRE, written=written,
        plan=plan_as_given(site.desk, now) if site.desk.plans.planned(now.version).plan else None,
        today=site.day_here(), theatres=_theatres(site), standing=standing_on(now, site.day_here(), site.rulebook),
        people=[person for person in site.store.people(active_only=True) if person.role in PREPARERS],
    )  # fmt: skip


@router.get("/lists/{day}")
def show(request: Request, visitor: Reading, day: str) -> Response:
    return _page(request, _day(day))


@router.post("/lists/{day}/take-off")
def take_off(request: Request, visitor: Building, form: TakeOff, day: str) -> Response:
    """Take a case off its list, with a reason that its people hear."""
    store, wanted = site_of(request).store, _day(day)
    here = {str(now.allocation.id): now.allocation for now in store.list_of(wanted) if now.allocation}
    if (at := here.get(form.allocation)) is None:
        return _page(request, wanted, "It is not in that place any more. Nothing was changed.", status=409)
    if faults := refusals(form, store.unallocate, at.id, form.why, visitor.code):
        return _page(request, wanted, *faults)
    return RedirectResponse(f"/lists/{wanted}", 303)


def _day(text: str) -> datetime.date:
    day = read_day(text)
    if day is None or not 2000 <= day.year <= 2200:
        raise HTTPException(404)
    return day


def _page(request: Request, day: datetime.date, *faults: str, status: int = 0) -> Response:
    site = site_of(request)
    held = site.store.list_of(day)
    people = {person.code: person for person in site.store.people()}
    theatres: dict[str, list[object]] = {}
    for now in held:
        if now.allocation is not None:
            planned = site.desk.plans.planned(now.version).plan
            plan, barred = shown_plan(site.desk, now) if planned else (None, ())
            row = now, plan, barred, doubts(site.desk, now, held, people)
            theatres.setdefault(now.allocation.theatre, []).append(row)
    return page(
        request, "list_day.html", status,
        day=day, theatres=theatres, faults=faults, longest=LONGEST,
        may_build=request.state.visitor.role in BUILDERS, unit=site.unit.unit if site.unit else "",
        before=day - datetime.timedelta(1), after=day + datetime.timedelta(1), count=len(held),
    )  # fmt: skip
