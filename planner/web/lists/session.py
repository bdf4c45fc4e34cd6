"""One session's list: its cases in order with the checker's verdict, what looks alike, and the ways to change it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.desk.publishing import publish as desk_publish
from planner.documents.figures import day as day_words
from planner.errors import PlannerError
from planner.lists.changes.differences import ListChange, changes, of_people
from planner.lists.changes.standby import standby
from planner.lists.changes.versions import lists_of
from planner.lists.rules.people import approval_covers
from planner.lists.week.instance import Placing
from planner.records.list_versions import PublishedMeanwhile
from planner.records.rows import BUILDERS
from planner.web.lists.change import REASONS
from planner.web.lists.judged import State, session_path, state_of
from planner.web.lists.warnings import of_standing
from planner.web.security.authorisation import Building, Posted, Reading, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import case_path, list_path
from planner.wording.people import operator_and_other
from planner.wording.words import eye_words, percent

router = APIRouter()
SESSION = "/lists/session/{session}"
LONGEST = 200
MARKS = {
    "new": "NEW", "people": "OTHER PEOPLE", "order": "OTHER PLACE", "session": "MOVED HERE", "off": "OFF",
    "approval": "APPROVED AGAIN",
}  # fmt: skip


@dataclass(frozen=True)
class Line:
    """A case in its place; `mark` says how its row differs from the last version, `locked` why it stays."""

    order: int
    reference: str
    eye: str
    plan_path: str
    move_path: str
    tier: int
    who: str
    under: str
    starts: str
    minutes: int
    mark: str
    locked: str
    doubts: tuple[str, ...]
    conditions: str
    first: bool
    last: bool


@router.get(SESSION)
def show(request: Request, visitor: Reading, session: str) -> Response:
    return session_page(request, visitor, state_of(site_of(request)), session)


@router.post(SESSION + "/publish")
def publish(request: Request, visitor: Building, form: Posted, session: str) -> Response:
    """Keep the list as the next version, and tell its people what changed for them."""
    site = site_of(request)
    state = state_of(site)
    held, note = state.session(session), str(form.get("note", "")).strip()
    if str(form.get("seen", "")) != state.seen:
        told = "The lists have changed since you opened this page. Look at this one again; nothing was published."
        return session_page(request, visitor, state, session, (told,), 409, note)
    if len(note) > LONGEST:
        return session_page(
            request, visitor, state, session, (f"The note has more than {LONGEST} letters.",), 422, note
        )
    people = _told(state, held.told, state.standing(session).changes or _all_new(state, session))
    after = _number(str(form.get("after", "")))
    try:
        publisher = site.store.person(visitor.code)
        made = desk_publish(site.desk, state.week, session, state.verdict, publisher, note, people, after)
    except PublishedMeanwhile as error:
        told = f"{error.last.by} published version {error.last.number}, {day_and_time(error.last.at)}, after you opened"
        told = f"{told} this page. Look at the list again; nothing of yours was published."
        return session_page(request, visitor, state_of(site), session, (told,), 409, note)
    except PlannerError as error:
        return session_page(request, visitor, state, session, tuple(map(str, error.faults)), 422, note)
    if made.number == after:
        told = f"Version {after} is this very list, and there is no other note: no new version was made."
        return session_page(request, visitor, state, session, (told,))
    return RedirectResponse(session_path(session), 303)


@router.get(SESSION + "/version/{number}")
def version(request: Request, visitor: Reading, session: str, number: int) -> Response:
    """A published version, whole, each row marked that differs from the one before."""
    site = site_of(request)
    held = state_of(site).session(session)
    versions = {one.number: one for one in site.store.list_versions(held.day, session)}
    if number not in versions:
        raise HTTPException(404)
    shown, before = versions[number], versions.get(number - 1)
    marks: Mapping[tuple[str, str], str] = {}
    off: list[str] = []
    if before is not None:
        found = changes(lists_of(session, before.document), lists_of(session, shown.document))
        marks = {one.case: MARKS[one.kind] for one in found if one.now is not None}
        off = [eye_words(*one.case) for one in found if one.now is None]
    return page(
        request, "list_version.html",
        held=held, day=f"{held.day:%A} {day_words(held.day)}", path=session_path(session), version=shown, off=off,
        rows=[(row, marks.get((row["case"], row["eye"]), "")) for row in shown.document["rows"]], percent=percent,
        published_at=day_and_time(shown.at), numbers=sorted(versions),
    )  # fmt: skip


def session_page(
    request: Request,
    visitor: Visitor,
    state: State,
    session: str,
    faults: tuple[str, ...] = (),
    status: int = 200,
    note: str = "",
) -> Response:
    site, held = site_of(request), state.session(session)
    standing, placings = state.standing(session), state.week.list_of(session)
    marks = {one.case: MARKS[one.kind] for one in standing.changes if one.now is not None}
    lines = [
        _line(site, state, placing, start, marks.get(placing.case, ""), len(placings))
        for placing, start in zip(placings, state.week.starts(session), strict=True)
    ]
    off = [eye_words(*one.case) for one in standing.changes if one.now is None]
    chance = state.week.chance_of_overrun(session)
    may_build, instance = visitor.role in BUILDERS, state.held.instance
    could = standby(instance, state.lists, session, unknown=False) if may_build else None
    return page(
        request, "list_session.html", status,
        held=held, title=f"{held.day:%A} {day_words(held.day)}", path=session_path(session), lines=lines,
        seen=state.seen, broken=state.broken(session),
        uncovered=any(one.rule == approval_covers.id for one in state.broken(session)),
        asked=state.asked(session), standing=standing, off=off,
        breaches=[one for one in state.verdict.breaches if one.session == session],
        standby=[(one, list_path(state.held.now[one.case].case)) for one in could.ready] if could else [],
        clashes=[clash for clash in state.clashes if clash.session == session],
        expected=round(state.week.expected_minutes(session)), chance=percent(chance),
        limit=percent(state.held.instance.overrun_chance), too_long=chance > state.held.instance.overrun_chance,
        people=[*state.held.instance.trainees, *state.held.instance.supervisors],
        supervisors=list(state.held.instance.supervisors), reasons=REASONS,
        may_build=may_build, faults=faults, note=note, longest=LONGEST,
        hours=f"{held.span[0]:%H:%M} to {held.span[1]:%H:%M}",
        published_at=day_and_time(standing.version.at) if standing.version else "",
        running=state.running(held.day),
        begin={one.id: [(p.place, state.week.case(p).told) for p in state.week.list_of(one.id)]
               for one in state.running(held.day)},
    )  # fmt: skip


def _number(text: str) -> int:
    """The version that a form was made from. Raises PlannerError."""
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        what = "the form does not say after which version it publishes"
        raise PlannerError.one(what, hint="load the page again")
    return int(text)


def _line(site: Site, state: State, placing: Placing, start: float, mark: str, count: int) -> Line:
    week, case, now = state.week, state.week.case(placing), state.held.now[placing.case]
    begins = week.session(placing).span[0] + datetime.timedelta(minutes=round(start / 5) * 5)
    minutes = week.time(placing).mean + case.added_minutes + week.instance.turnover
    who, under = operator_and_other(week.team(placing))
    return Line(
        placing.place, case.reference, case.eye, case_path(now.case, "plan"), list_path(now.case), case.tier, who,
        under, f"{begins:%H:%M}", round(minutes), mark, state.held.locked.get(placing.case, ""),
        tuple(of_standing(site, now, now.allocation)) if now.allocation else (),
        now.approval.every_condition if now.approval else "",
        placing.place == 1, placing.place == count,
    )  # fmt: skip


def _all_new(state: State, session: str) -> tuple[ListChange, ...]:
    return tuple(ListChange(placing.case, "new", None, placing) for placing in state.week.list_of(session))


FOR_PERSON = {"on": "on your list", "off": "off your list", "changed": "changed on your list"}


def _told(state: State, session: str, changed: tuple[ListChange, ...]) -> dict[str, str]:
    """What each person of a published list is told: what is new for them, and what is no longer theirs."""
    told = {}
    for name, cases in of_people(changed).items():
        lines = (f"{eye_words(*key)}: {FOR_PERSON[kind]}" for key, kind in cases.items())
        told[state.held.codes.get(name, name)] = f"{session} is published: {'; '.join(lines)}"
    return told
