"""Lists proposed by the matching, or as a morning's smallest change: shown first, entered when somebody accepts."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from planner.claims import Entry
from planner.desk.lists import ListsNow
from planner.desk.placing import accept as enter
from planner.desk.placing import barred
from planner.desk.placing import propose as match
from planner.errors import PlannerError
from planner.lists.changes import repair_text
from planner.lists.changes.differences import ListChange, changes
from planner.lists.changes.disruption import CaseBegun, Disruption, PersonAway, SessionChange
from planner.lists.changes.repair import repair
from planner.lists.matching.match import NOT_PROVED, Matched
from planner.lists.matching.search import solver
from planner.lists.roster.shapes import LONGEST_SESSION, SHORTEST_SESSION, Session
from planner.lists.rules.rule import Broken
from planner.lists.week.lists_file import lists_in, written
from planner.local_time import local
from planner.web.lists.change import CHANGED, LONGEST
from planner.web.security.authorisation import Building
from planner.web.server.forms import Form, Prefixed, Text, Ticked, TimeOfDay, cut
from planner.web.server.presenting import page
from planner.web.server.site import SESSION, ListsAsked, session_named, session_path, site_of

router = APIRouter()
LONGER = 20.0  # seconds, about, that a search for the best takes
LONGEST_REASON = 200
Way = Literal["round", "again"]


class ProposeForm(Form):
    way: Way = "round"
    longer: Ticked = False


class AcceptForm(Form):
    seen: str = ""
    proposal: str = ""
    why: Annotated[Text, cut(LONGEST)] = ""


class MorningForm(Form):
    """`begun` has the number of the last case that is begun, by session; `until` when that one ends."""

    because: Text = ""
    who: str = ""
    instead: str = ""
    ends: TimeOfDay = None
    lost: Ticked = False
    begun: Annotated[dict[str, str], Prefixed("begun-")] = {}
    until: Annotated[dict[str, TimeOfDay], Prefixed("until-")] = {}


Proposed = Annotated[ProposeForm, Depends(ProposeForm.read)]
Accepted = Annotated[AcceptForm, Depends(AcceptForm.read)]
Happened = Annotated[MorningForm, Depends(MorningForm.read)]


@router.post("/lists/all/propose")
def propose(request: Request, visitor: Building, form: Proposed, lists: ListsAsked) -> Response:
    """Match `round` what stands, or match `again` everything that is not locked, with few changes.

    `longer` searches on with the solver for the best, or for how far from it the lists are.
    """
    again = form.way == "again"
    if broken := barred(lists, again):
        return _proposal_page(request, lists, way=form.way, broken=broken)
    try:
        found = match(lists, again, LONGER if form.longer else None)
    except PlannerError as error:
        return _proposal_page(request, lists, *map(str, error.faults), status=503, way=form.way)
    return _proposal_page(request, lists, way=form.way, found=found)


@router.post("/lists/all/accept")
def accept(request: Request, visitor: Building, form: Accepted, lists: ListsAsked) -> Response:
    """Enter a proposal, if the lists are still those that it was made from and it still keeps every rule."""
    if form.seen != lists.seen:
        return _proposal_page(request, lists, CHANGED, status=409)
    try:
        proposed = lists_in(form.proposal, "proposal", lists.instance)
        broken = enter(site_of(request).desk, lists, proposed, visitor.code, form.why)
    except PlannerError as error:
        return _proposal_page(request, lists, *map(str, error.faults))
    return _proposal_page(request, lists, status=422, broken=broken) if broken else RedirectResponse("/lists", 303)


@router.post(SESSION + "/morning")
def morning(request: Request, visitor: Building, form: Happened, lists: ListsAsked, session: str) -> Response:
    """Somebody is away from the session's day, or the session is lost or ends at another time; what is locked stays."""
    concerned, now = session_named(lists, session), local(site_of(request).settings.clock())
    if not form.because or len(form.because) > LONGEST_REASON:
        return _proposal_page(request, lists, f"A reason, of up to {LONGEST_REASON} characters: what happened.")
    away = _away(lists, concerned, form)
    changed, unclear = _changed(concerned, form)
    running = lists.running(concerned.day)
    begun = [one for other in running for one in _begun(lists, other.id, form)]
    if not (away or changed or begun or unclear):
        unclear = "Say what happened: who is away, when the session ends, that it is lost, or which case is in hand."
    if form.wrong or unclear:
        return _proposal_page(request, lists, next(iter(form.wrong.values()), unclear))
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


def _proposal_page(
    request: Request,
    lists: ListsNow,
    *faults: str,
    status: int = 0,
    way: Way = "round",
    found: Matched | None = None,
    broken: tuple[Broken, ...] = (),
) -> Response:
    """A proposal, or why there is none."""
    order = list(lists.instance.sessions)

    def by_day(one: ListChange) -> tuple[int, int]:
        placing = one.now or one.was
        return (order.index(placing.session), placing.place) if placing is not None else (0, 0)

    rows = sorted(changes(lists.lists, found.lists), key=by_day) if found else []
    searched = found is not None and found.bound is not None
    return page(
        request, "list_proposal.html", status, way=way, rows=rows, found=found, broken=broken, faults=faults,
        lists=lists, good=found.how_good if found else NOT_PROVED,
        longer=None if searched or solver() is None else round(LONGER),
        proposal=written(found.lists) if found else "",
        stays=len(found.lists.placings) - sum(row.now is not None for row in rows) if found else 0,
    )  # fmt: skip
