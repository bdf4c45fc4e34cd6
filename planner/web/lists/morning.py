"""The morning of: somebody away, a session lost or late; the smallest change is shown, and entered when accepted."""

from __future__ import annotations

import datetime
import re

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.claims import Entry
from planner.lists.changes.disruption import CaseBegun, Disruption, PersonAway, SessionChange
from planner.lists.changes.repair import repair
from planner.lists.week.minutes import LONGEST as MINUTES
from planner.lists.week.minutes import SHORTEST
from planner.local_time import local
from planner.web.lists.judged import State, state_of
from planner.web.lists.propose import refused_page, repaired_page
from planner.web.security.authorisation import Building, Posted
from planner.web.server.site import site_of

router = APIRouter()
LONGEST = 200
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


@router.post("/lists/session/{session}/morning")
def morning(request: Request, visitor: Building, form: Posted, session: str) -> Response:
    """Somebody is away from the session's day, or the session is lost or ends at another time; what is locked stays."""
    site = site_of(request)
    state = state_of(site)
    held, now = state.session(session), local(site.settings.clock())
    because = str(form.get("because", "")).strip()
    if not because or len(because) > LONGEST:
        return refused_page(request, state, (f"A reason, of up to {LONGEST} letters: what happened.",))
    try:
        told = _told(state, session, form, because)
        begun = [one for other in state.running(held.day) for one in _begun(state, other.id, form)]
    except _UnclearError as error:
        return refused_page(request, state, (str(error),))
    # The clock counts on the day itself; a list of another day is mended before it begins.
    at = {"now": now.time().replace(second=0, microsecond=0)} if held.day == now.date() else {}
    happened = Disruption.model_validate({"on": held.day, "begun": begun, **told, **at})
    return repaired_page(request, state, repair(state.held.instance, state.lists, happened, state.held.locked))


class _UnclearError(Exception):
    """Why a form cannot be understood, in a sentence for whoever filled it in."""


def _told(state: State, session: str, form: FormData, because: str) -> dict[str, list[Entry]]:
    held, known, told = state.session(session), state.held.instance, dict[str, list[Entry]]()
    who, instead = str(form.get("who", "")), str(form.get("instead", ""))
    if who:
        if who not in {*known.trainees, *known.supervisors} or (instead and instead not in known.supervisors):
            raise HTTPException(404)
        told["away"] = [PersonAway(who=who, day=held.day, instead=instead or None, because=because)]
    ends = _time(form.get("ends"))
    if form.get("lost") == "yes":
        told["changed"] = [SessionChange(session=session, lost=True, because=because)]
    elif ends is not None:
        minutes = round((datetime.datetime.combine(held.day, ends) - held.span[0]).total_seconds() / 60)
        if not SHORTEST <= minutes <= MINUTES:
            why = f"A session ends between {SHORTEST} and {MINUTES} minutes after it begins, at {held.starts:%H:%M}."
            raise _UnclearError(f"{why} If nothing is done in it, it is lost.")
        told["changed"] = [SessionChange(session=session, minutes=minutes, because=because)]
    if told or any(form.get(f"begun-{one.id}") for one in state.running(held.day)):
        return told
    raise _UnclearError(
        "Say what happened: who is away, when the session ends, that it is lost, or which case is in hand."
    )


def _begun(state: State, session: str, form: FormData) -> list[CaseBegun]:
    """The cases up to the last that is begun, which may be known to end at a time."""
    number = str(form.get(f"begun-{session}", ""))
    placings = state.week.list_of(session)
    if number not in {"", *(str(placing.place) for placing in placings)}:
        raise HTTPException(404)
    until = _time(form.get(f"until-{session}"))
    begun = [placing for placing in placings if number and placing.place <= int(number)]
    return [
        CaseBegun(case=placing.case[0], eye=placing.case[1], until=until if placing == begun[-1] else None)
        for placing in begun
    ]


def _time(raw: object) -> datetime.time | None:
    told = str(raw or "").strip()
    if told and not _CLOCK.fullmatch(told):
        raise _UnclearError(f"{told!r} is not a time of day; write it like 11:45.")
    return datetime.time.fromisoformat(told) if told else None
