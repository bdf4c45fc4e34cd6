"""Changing a list by hand: the checker's verdict on the change first where it breaks a rule, and a reason on record."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.desk.approving import ask_for
from planner.desk.placing import arrange
from planner.errors import PlannerError
from planner.lists.changes.moves import moved, put, taken_off
from planner.lists.matching.insertion import Option
from planner.lists.rules.checker import check
from planner.lists.rules.people import approval_covers
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Key, Lists
from planner.web.lists.judged import State, session_path, state_of
from planner.web.security.authorisation import Building, Posted
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import case_path

router = APIRouter()
ACTS = ("put", "up", "down", "off", "lock", "unlock")
LONGEST = 300
CHANGED = "The lists have changed since you opened that page. Look at them again; nothing was changed."
# Why a case is taken off, so that the same reasons can be counted; whoever needs another writes it.
REASONS = (
    "pressure not controlled", "infection or inflammation", "INR out of range", "unwell otherwise", "did not come",
    "patient asked for another day", "no interpreter or escort", "lens or kit not there", "list too long",
    "staff not there", "no longer needed",
)  # fmt: skip


@dataclass(frozen=True)
class Wish:
    """What a form asks for."""

    act: str
    key: Key
    option: Option | None
    why: str
    sure: bool


@router.post("/lists/all/change")
def change(request: Request, visitor: Building, form: Posted) -> Response:
    """One change: made at once where it breaks nothing new, else only after its verdict was read, with a reason."""
    site = site_of(request)
    state = state_of(site)
    wish = _wish(state, form)
    back = _back(state, wish)
    if str(form.get("seen", "")) != state.seen:
        return _refused(request, state, wish, (CHANGED,), 409, back)
    if len(wish.why) > LONGEST:
        return _refused(request, state, wish, (f"The reason has more than {LONGEST} letters.",), 422, back)
    try:
        case_id = state.held.now[wish.key].case.id
        if wish.act == "lock":
            site.store.lock(case_id, wish.why, visitor.code)
        elif wish.act == "unlock":
            site.store.unlock(case_id, wish.why, visitor.code)
        else:
            lists = _changed(state, wish)
            breaks = new_faults(state, lists)
            if wish.option is not None and any(one.rule == approval_covers.id for one in breaks):
                if _may_be_asked(state, wish.key, wish.option):
                    return _refused(request, state, wish, (), 200, back, breaks, asks=True)
                return _refused(request, state, wish, tuple(map(str, breaks)), 422, back)
            if breaks and not (wish.sure and wish.why):
                return _refused(request, state, wish, (), 422 if wish.sure else 200, back, breaks)
            although = breaks[0].says if breaks else ""
            arrange(site.desk, state.held, lists, visitor.code, wish.why, although)
    except PlannerError as error:
        return _refused(request, state, wish, tuple(map(str, error.faults)), 422, back)
    return RedirectResponse(back, 303)


@router.post("/lists/all/ask")
def ask(request: Request, visitor: Building, form: Posted) -> Response:
    """Ask a consultant to approve a case for somebody whom the approval does not cover; nothing is placed meanwhile."""
    site = site_of(request)
    state = state_of(site)
    wish = _wish(state, form)
    if wish.option is None or wish.option.trainee is None:
        raise HTTPException(404)
    now, session = state.held.now[wish.key], state.session(wish.option.session)
    trainee = state.held.instance.trainees[wish.option.trainee]
    # The day as data: what people write of dates in words is refused, since it could be a date of birth.
    note = f"For {trainee.id} ({trainee.stage}) under {wish.option.supervisor}, {session.day}, {session.theatre}."
    note += f" {wish.why}" if wish.why else ""
    try:
        ask_for(site.desk, now, trainee.stage, visitor.code, note)
    except PlannerError as error:
        return _refused(request, state, wish, tuple(map(str, error.faults)), 422, _back(state, wish))
    return RedirectResponse(case_path(now.case, "plan"), 303)


def _may_be_asked(state: State, key: Key, option: Option) -> bool:
    """Whether a consultant can be asked for it: the approval stands, and is for another stage. Other people are not."""
    approval, trainees = state.held.instance.cases[key].approval, state.held.instance.trainees
    if approval is None or not approval.stands or option.trainee is None:
        return False
    return not approval.covers(trainees[option.trainee].stage)


def new_faults(state: State, lists: Lists) -> list[Broken]:
    """What lists break that is not broken now."""
    known = {(one.rule, one.session, one.case) for one in state.verdict.broken}
    found = check(state.held.instance, lists).broken
    return [one for one in found if (one.rule, one.session, one.case) not in known]


def _wish(state: State, form: FormData) -> Wish:
    """What the form asks for; 404 for a case, session or person that there is not."""
    act = str(form.get("act", ""))
    key = state.case(str(form.get("reference", "")), str(form.get("eye", "")))
    option = None
    if act not in ACTS:
        raise HTTPException(404)
    if act == "put":
        session, trainee = state.session(str(form.get("session", ""))), str(form.get("trainee", "")) or None
        supervisor = str(form.get("supervisor", ""))
        known = state.held.instance
        if supervisor not in known.supervisors or (trainee is not None and trainee not in known.trainees):
            raise HTTPException(404)
        option = Option(session.id, trainee, supervisor)
    elif act != "lock" and key in state.held.waiting:
        raise HTTPException(404)
    why = " ".join(part for part in (str(form.get("reason", "")).strip(), str(form.get("why", "")).strip()) if part)
    return Wish(act, key, option, why, str(form.get("sure", "")) == "yes")


def _changed(state: State, wish: Wish) -> Lists:
    if wish.act == "off":
        return taken_off(state.lists, wish.key)
    if wish.option is not None:
        return put(state.lists, wish.key, wish.option)
    return moved(state.lists, wish.key, -1 if wish.act == "up" else 1)


def _back(state: State, wish: Wish) -> str:
    """The list that the case is on, or all lists."""
    if wish.option is not None:
        return session_path(wish.option.session)
    was = next((placing for placing in state.lists.placings if placing.case == wish.key), None)
    return session_path(was.session) if was is not None else "/lists"


def _refused(
    request: Request,
    state: State,
    wish: Wish,
    faults: tuple[str, ...],
    status: int,
    back: str,
    breaks: list[Broken] | None = None,
    asks: bool = False,
) -> Response:
    """What stands in the way; where it is a rule alone, the form that enters the change with a reason.

    `asks`: it is not what was approved, so that the form asks a consultant for it instead.
    """
    session = state.session(wish.option.session).told if wish.option else ""
    return page(
        request, "list_change.html", status,
        wish=replace(wish, why=wish.why[:LONGEST]), told=state.held.instance.cases[wish.key].told, session=session,
        faults=faults, breaks=breaks or [], seen=state.seen, back=back, longest=LONGEST, asks=asks,
    )  # fmt: skip
