"""The lists for paper and for other programs: list and brief as PDF, the weeks at a glance, iCalendar and CSV."""

from __future__ import annotations

import datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.desk.plan_in_force import plans_on_lists
from planner.documents.brief.shapes import Brief
from planner.documents.brief.sheet import render_brief
from planner.documents.week.sheet import render_weeks
from planner.lists.changes.versions import editions_of
from planner.lists.output.brief_view import brief_of
from planner.lists.output.calendar import calendar_of
from planner.lists.output.table import table_of
from planner.lists.output.week_view import weeks_view
from planner.web.lists.judged import session_path, state_of
from planner.web.lists.session import SESSION
from planner.web.security.authorisation import Building, Reading
from planner.web.server.case_state import day_and_time
from planner.web.server.printing import printed
from planner.web.server.site import Site, site_of
from planner.web.server.tickets import Ordered

router = APIRouter()


@router.get(SESSION + "/brief.pdf")
async def brief(request: Request, visitor: Reading, session: str) -> Response:
    """The session's list and team brief, as approved; changed rows are marked against the published version."""

    def order(site: Site) -> Ordered:
        day, made = _brief(site, session)
        return Ordered(site.prints.order(render_brief, [made]), f"list-{day}-{session}.pdf")

    return await printed(request, visitor, session_path(session), order)


def _brief(site: Site, session: str) -> tuple[datetime.date, Brief]:
    state = state_of(site)
    held, standing = state.session(session), state.standing(session)
    placings = state.week.list_of(session)
    if not placings or site.lists is None:
        raise HTTPException(404)
    written = f"Written {day_and_time(site.settings.clock().isoformat())}: {standing.words}."
    plans = plans_on_lists(site.desk, state.held, placings)
    return held.day, brief_of(state.held.instance, state.lists, session, plans, standing.changes, written)


@router.get("/lists/week.pdf")
async def week(request: Request, visitor: Building) -> Response:
    def order(site: Site) -> Ordered:
        state = state_of(site)
        return Ordered(site.prints.order(render_weeks, weeks_view(state.held.instance, state.lists)), "lists.pdf")

    return await printed(request, visitor, "/lists", order)


@router.get("/lists/lists.ics")
def calendar(request: Request, visitor: Reading) -> Response:
    """A trainee's own sessions; everybody's for whoever builds the lists."""
    site = site_of(request)
    state = state_of(site)
    own = {code: name for name, code in state.held.codes.items()}.get(visitor.code, visitor.code)
    person = own if visitor.role == "trainee" else None
    instance, lists, on = state.held.instance, state.lists, state.held.on
    editions = editions_of(site.store.editions(instance.sessions, on), instance, lists, on)
    stamp = site.settings.clock().replace(microsecond=0)
    return _file(calendar_of(instance, lists, stamp, person, editions), "text/calendar", "lists.ics")


@router.get("/lists/lists.csv")
def table(request: Request, visitor: Building) -> Response:
    state = state_of(site_of(request))
    return _file(table_of(state.held.instance, state.lists).encode(), "text/csv; charset=utf-8", "lists.csv")


def _file(content: bytes, kind: str, name: str) -> Response:
    ascii_name = name.encode("ascii", "replace").decode().replace('"', "_").replace("/", "_")
    return Response(content, media_type=kind, headers={"Content-Disposition": f'inline; filename="{ascii_name}"'})
