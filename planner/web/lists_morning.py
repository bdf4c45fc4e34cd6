"""The morning of: somebody away, a session lost or short; the smallest change is shown, and entered when accepted."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.lists.happened import Away, Changed, Happened
from planner.lists.repair import repair
from planner.web.door import Door, Posted, Visitor
from planner.web.lists_held import State, state_of
from planner.web.lists_propose import refused_page, repaired_page
from planner.web.site import site_of

router = APIRouter()
Building = Annotated[Visitor, Depends(Door("organiser", "consultant"))]
LONGEST = 200


@router.post("/lists/session/{session}/morning")
def morning(request: Request, visitor: Building, form: Posted, session: str) -> Response:
    """Somebody is away from the session's day, or the session is lost or shorter; what is locked stays."""
    state = state_of(site_of(request))
    state.session(session)
    because = str(form.get("because", "")).strip()
    if not because or len(because) > LONGEST:
        return refused_page(request, state, (f"A reason, of up to {LONGEST} letters: what happened.",))
    happened = _happened(state, session, form, because)
    if happened is None:
        return refused_page(request, state, ("Say what happened: who is away, or how the session has changed.",))
    return repaired_page(
        request, state, repair(state.held.instance, state.lists, happened, frozenset(state.held.locked))
    )


def _happened(state: State, session: str, form: FormData, because: str) -> Happened | None:
    held, known = state.session(session), state.held.instance
    who, instead = str(form.get("who", "")), str(form.get("instead", ""))
    if who:
        if who not in {*known.trainees, *known.supervisors} or (instead and instead not in known.supervisors):
            raise HTTPException(404)
        return Happened(away=[Away(who=who, day=held.day, instead=instead or None, because=because)])
    minutes = str(form.get("minutes", ""))
    if form.get("lost") == "yes":
        return Happened(changed=[Changed(session=session, lost=True, because=because)])
    if minutes.isascii() and minutes.isdecimal() and 30 <= int(minutes[:4]) <= 720:
        return Happened(changed=[Changed(session=session, minutes=int(minutes), because=because)])
    return None
