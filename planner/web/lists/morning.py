"""The morning of: somebody away, a session lost or late; the smallest change is shown, and entered when accepted."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.claims import Entry
from planner.desk.lists import ListsNow
from planner.lists.changes import repair_text
from planner.lists.changes.disruption import CaseBegun, Disruption, PersonAway, SessionChange
from planner.lists.changes.repair import repair
from planner.lists.roster.shapes import LONGEST_SESSION, SHORTEST_SESSION, Session
from planner.lists.week.lists_file import written
from planner.local_time import local
from planner.web.lists.propose import proposal_page
from planner.web.lists.shown import lists_shown, session_named
from planner.web.security.authorisation import Building
from planner.web.server.forms import Form, Prefixed, Text, Ticked, TimeOfDay
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import SESSION, session_path

router = APIRouter()
LONGEST = 200


class MorningForm(Form):
    """`begun` has the number of the last case that is begun, by session; `until` when that one ends."""

    because: Text = ""
    who: str = ""
    instead: str = ""
    ends: TimeOfDay = None
    lost: Ticked = False
    begun: Annotated[dict[str, str], Prefixed("begun-")] = {}
    until: Annotated[dict[str, TimeOfDay], Prefixed("until-")] = {}


@router.post(SESSION + "/morning")
def morning(
    request: Request, visitor: Building, form: Annotated[MorningForm, Depends(MorningForm.read)], session: str
) -> Response:
    """Somebody is away from the session's day, or the session is lost or ends at another time; what is locked stays."""
    lists = lists_shown(request)
    concerned, now = session_named(lists, session), local(site_of(request).settings.clock())
    if not form.because or len(form.because) > LONGEST:
        return proposal_page(
            request, lists, faults=(f"A reason, of up to {LONGEST} letters: what happened.",), status=422
        )
    away = _away(lists, concerned, form)
    changed, unclear = _changed(concerned, form)
    running = lists.running(concerned.day)
    begun = [one for other in running for one in _begun(lists, other.id, form)]
    if not (away or changed or begun or unclear):
        unclear = "Say what happened: who is away, when the session ends, that it is lost, or which case is in hand."
    if form.wrong or unclear:
        return proposal_page(request, lists, faults=(*form.wrong.values(), unclear)[:1], status=422)
    # The clock counts on the day itself; a list of another day is mended before it begins.
    at = {"now": now.time().replace(second=0, microsecond=0)} if concerned.day == now.date() else {}
    told = {"on": concerned.day, "begun": begun, "away": away, "changed": changed}
    happened = Disruption.model_validate(told | at)
    found = repair(lists.instance, lists.lists, happened, lists.held.locked)
    return page(
        request, "list_repair.html",
        found=found, words=repair_text, seen=lists.seen, proposal=written(found.lists), path=session_path,
    )  # fmt: skip


def _away(lists: ListsNow, session: Session, form: MorningForm) -> list[Entry]:
    known = lists.instance
    if not form.who:
        return []
    if form.who not in {*known.trainees, *known.supervisors} or form.instead not in {"", *known.supervisors}:
        raise HTTPException(404)
    return [PersonAway(who=form.who, day=session.day, instead=form.instead or None, because=form.because)]


def _changed(session: Session, form: MorningForm) -> tuple[list[Entry], str]:
    """How the session changes, or in a sentence why that cannot be."""
    if form.lost:
        return [SessionChange(session=session.id, lost=True, because=form.because)], ""
    if form.ends is None:
        return [], ""
    minutes = round((datetime.datetime.combine(session.day, form.ends) - session.span[0]).total_seconds() / 60)
    if not SHORTEST_SESSION <= minutes <= LONGEST_SESSION:
        between = f"between {SHORTEST_SESSION} and {LONGEST_SESSION} minutes after it begins, at {session.starts:%H:%M}"
        return [], f"A session ends {between}. If nothing is done in it, it is lost."
    return [SessionChange(session=session.id, minutes=minutes, because=form.because)], ""


def _begun(lists: ListsNow, session: str, form: MorningForm) -> list[CaseBegun]:
    """The cases up to the last that is begun, which may be known to end at a time."""
    number, placings = form.begun.get(session, ""), lists.week.list_of(session)
    if number not in {"", *(str(placing.place) for placing in placings)}:
        raise HTTPException(404)
    begun = [placing for placing in placings if number and placing.place <= int(number)]
    return [
        CaseBegun(case=one.case[0], eye=one.case[1], until=form.until.get(session) if one == begun[-1] else None)
        for one in begun
    ]
