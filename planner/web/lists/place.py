"""Giving a case its place: in a session of the roster, each with what it would break, or by hand on any day."""

from __future__ import annotations

import datetime
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.lists import ListsNow, lists_now
from planner.desk.placing import allocate
from planner.desk.plan_in_force import plan_as_given
from planner.documents.figures import day as day_words
from planner.errors import PlannerError
from planner.lists.matching.insertion import Assignment, attempt, options, taken_off
from planner.lists.matching.objective import ranked
from planner.lists.matching.reasons import Blocked, pressing, why_not
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import approval_covers
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key
from planner.lists.week.week import Week
from planner.records.approval_validity import holds_until, standing_on
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Building
from planner.web.server.forms import Day, Form, Text
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import LISTING, CaseAsked
from planner.wording.people import operates

router = APIRouter()
LONGEST_THEATRE = 30
WEEKS = 26
OFFERED = 3


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
    request: Request, visitor: Building, now: CaseAsked, by_hand: Annotated[str, Query(alias="by-hand")] = ""
) -> Response:
    """Every session with its verdict, where there is a roster; else, or when asked for, any day and theatre."""
    lists = None if by_hand else lists_now(site_of(request).desk)
    if lists is not None and (now.case.reference, now.case.eye) in lists.instance.cases:
        return options_page(request, now, lists)
    return _page(request, now, PlaceForm())


@router.post(LISTING)
def place(
    request: Request, visitor: Building, form: Annotated[PlaceForm, Depends(PlaceForm.read)], now: CaseAsked
) -> Response:
    site = site_of(request)
    if now.approval is None or form.approval != str(now.approval.id):
        told = "The approval is another one than when you opened this page. Look at the case again; nothing was placed."
        return _page(request, now, form, (told,), 409)
    theatre = " ".join(form.theatre.split())
    # Spelt as the coming lists have it: one that differs in capitals only is no other theatre.
    theatre = next((name for name in _theatres(site) if name.lower() == theatre.lower()), theatre)
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


def _theatres(site: Site) -> list[str]:
    """The theatres of the coming lists."""
    coming = site.store.lists(site.day_here(), site.day_here() + datetime.timedelta(weeks=WEEKS))
    return sorted({now.allocation.theatre for now in coming if now.allocation})


def _page(
    request: Request,
    now: CaseNow,
    form: PlaceForm,
    faults: tuple[str, ...] = (),
    status: int = 200,
    theatre: str | None = None,
) -> Response:
    site = site_of(request)
    plan, until = site.desk.plans.planned(now.version).plan, holds_until(now, site.rulebook)
    holds = f"{day_words(until[0])} ({until[1]})" if until else "no dated measurement"
    people = [person for person in site.store.people(active_only=True) if person.role in ("consultant", "trainee")]
    return page(
        request, "list_place.html", status,
        case=now.case, now=now, faults=faults, holds=holds, people=people, longest=LONGEST_THEATRE,
        plan=plan_as_given(site.desk, now) if plan else None, today=site.day_here(), theatres=_theatres(site),
        standing=standing_on(now, site.day_here(), site.rulebook),
        written=form.written if theatre is None else form.written | {"theatre": theatre},
    )  # fmt: skip


class Offer(NamedTuple):
    """A pair in a session: `broken` is empty where every rule is kept."""

    option: Assignment
    who: str
    worth: float
    broken: tuple[Broken, ...]

    @property
    def asks(self) -> bool:
        """Whether nothing but the approval stands in the way, which a consultant may widen."""
        return {one.rule for one in self.broken} == {approval_covers.id} and self.option.trainee is not None


class SessionOffers(NamedTuple):
    session: Session
    filled: str
    offers: list[Offer]


def options_page(request: Request, now: CaseNow, lists: ListsNow) -> Response:
    """Every session with its best places; for a case that fits none, what bars it and what would open one."""
    key = now.case.reference, now.case.eye
    others, pressing_words = taken_off(lists.lists, key), pressing(lists.instance, key)
    rows = [_row(lists, key, session) for session in lists.sessions]
    fits = any(not offer.broken for row in rows for offer in row.offers)
    blocked: Blocked | None = None if fits else why_not(lists.instance, others, key, frozenset(lists.held.locked))
    return page(
        request, "list_options.html",
        case=lists.instance.cases[key], pressing=f"{pressing_words[:1].upper()}{pressing_words[1:]}",
        now=now, at=next((placing for placing in lists.lists.placings if placing.case == key), None), rows=rows,
        best=max((offer.worth for row in rows for offer in row.offers if not offer.broken), default=0.0),
        blocked=blocked, rule_words=RULES.words, lists=lists, locked=lists.held.locked.get(key, ""),
    )  # fmt: skip


def _row(lists: ListsNow, key: Key, session: Session) -> SessionOffers:
    instance, others = lists.instance, taken_off(lists.lists, key)
    stand: list[Offer] = []
    barred: list[Offer] = []
    for points, option, _ in ranked(instance, others, key, options(instance, [session])):
        trial = attempt(instance, others, key, option)
        broken = lists.not_yet(trial.broken)
        offer = Offer(option, operates(lists.week.team(trial.placing)), points, broken)
        (barred if broken else stand).append(offer)
        if len(stand) == OFFERED:
            break
    nearest = sorted(barred, key=lambda offer: len({one.rule for one in offer.broken}))[:1]
    week = Week(instance, others)
    count = len(week.list_of(session.id))
    minutes = f"{week.expected_minutes(session.id):.0f} of {session.minutes} min"
    filled = f"{count} case{'s' if count != 1 else ''}, {minutes}" if count else f"free, {session.minutes} min"
    return SessionOffers(session, filled, stand or nearest)
