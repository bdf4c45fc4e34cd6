"""The lists for paper and for other programs: list and brief, weeks, iCalendar, CSV, and what must be ordered."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from planner.desk.plan_in_force import plans_on_lists
from planner.documents.brief.sheet import render_brief
from planner.documents.week.sheet import render_weeks
from planner.lists.changes.versions import editions_of
from planner.lists.output.brief_view import brief_of
from planner.lists.output.calendar import calendar_of
from planner.lists.output.orders import LeadDays, orders, orders_table
from planner.lists.output.table import table_of
from planner.lists.output.week_view import weeks_view
from planner.web.security.authorisation import Building, Reading
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.printing import inline, printed
from planner.web.server.site import (
    SESSION,
    ListsAsked,
    OrderedPrint,
    Site,
    lists_shown,
    session_named,
    session_path,
    site_of,
)

router = APIRouter()


@router.get(SESSION + "/brief.pdf")
async def brief(request: Request, visitor: Reading, session: str) -> Response:
    """The session's list and team brief, as approved; changed rows are marked against the published version."""

    def order(site: Site) -> OrderedPrint:
        now = lists_shown(request)
        on, publication, placings = session_named(now, session), now.publication(session), now.week.list_of(session)
        if not placings or site.desk.lists is None:
            raise HTTPException(404)
        written = f"Written {day_and_time(site.settings.clock().isoformat())}: {publication.words}."
        plans = plans_on_lists(site.desk, now.held, placings)
        made = brief_of(now.instance, now.lists, session, plans, publication.changes, written)
        return OrderedPrint(site.prints.order(render_brief, [made]), f"list-{on.day}-{session}.pdf")

    return await printed(request, visitor, session_path(session), order)


@router.get("/lists/week.pdf")
async def week(request: Request, visitor: Building) -> Response:
    def order(site: Site) -> OrderedPrint:
        now = lists_shown(request)
        return OrderedPrint(site.prints.order(render_weeks, weeks_view(now.instance, now.lists)), "lists.pdf")

    return await printed(request, visitor, "/lists", order)


@router.get("/lists/lists.ics")
def calendar(request: Request, visitor: Reading, now: ListsAsked) -> Response:
    """A trainee's own sessions; everybody's for whoever builds the lists."""
    site = site_of(request)
    own = {code: name for name, code in now.held.codes.items()}.get(visitor.code, visitor.code)
    person = own if visitor.role == "trainee" else None
    editions = editions_of(
        site.store.editions(now.instance.sessions, now.held.on), now.instance, now.lists, now.held.on
    )
    stamp = site.settings.clock().replace(microsecond=0)
    return inline(calendar_of(now.instance, now.lists, stamp, person, editions), "text/calendar", "lists.ics")


@router.get("/lists/lists.csv")
def table(visitor: Building, now: ListsAsked) -> Response:
    return inline(table_of(now.instance, now.lists).encode(), "text/csv; charset=utf-8", "lists.csv")


@router.get("/lists/orders")
def to_order(request: Request, visitor: Building, now: ListsAsked) -> Response:
    lead = _lead_days(request)
    without = [what for what in ("lens", "kit") if what not in lead]
    made = orders(now.instance, now.lists, lead)
    return page(request, "list_orders.html", orders=made, lead=lead, without=without)


@router.get("/lists/orders.csv")
def orders_as_csv(request: Request, visitor: Building, now: ListsAsked) -> Response:
    made = orders(now.instance, now.lists, _lead_days(request))
    return inline(orders_table(made).encode(), "text/csv; charset=utf-8", "orders.csv")


def _lead_days(request: Request) -> LeadDays:
    reader = site_of(request).desk.lists
    return reader.roster.limits.lead_days if reader else {}
