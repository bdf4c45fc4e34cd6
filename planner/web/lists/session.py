"""One session's list: its cases in order with the checker's verdict, what looks alike, and the ways to change it."""

from __future__ import annotations

import datetime
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.desk.doubts import of_standing
from planner.desk.lists import ListsNow
from planner.desk.publishing import publish as enter
from planner.documents.brief.view import change_mark
from planner.errors import PlannerError
from planner.lists.changes.differences import ListChange, changes
from planner.lists.changes.standby import standby
from planner.lists.changes.versions import lists_of
from planner.lists.rules.people import approval_covers
from planner.lists.week.instance import Key, Placing
from planner.records.list_versions import PublishedMeanwhile
from planner.records.roles import BUILDERS
from planner.records.rows import CaseNow
from planner.web.lists.shown import lists_shown, session_named
from planner.web.security.authorisation import Building, Reading, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.forms import Form, Number, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import SESSION, session_path
from planner.wording.people import operator_and_other
from planner.wording.words import eye_words

router = APIRouter()
LONGEST = 200


class PublishForm(Form):
    """`after` is the version that the page was made from, 0 for none."""

    seen: str = ""
    note: Annotated[Text, up_to(LONGEST, f"The note has more than {LONGEST} letters.")] = ""
    after: Number = None


class SessionRow(NamedTuple):
    """A case in its place; `mark` says how its row differs from the last version."""

    placing: Placing
    now: CaseNow
    tier: int
    who: str
    under: str
    starts: datetime.datetime
    minutes: int
    mark: str
    doubts: tuple[str, ...]


@router.get(SESSION)
def show(request: Request, visitor: Reading, session: str) -> Response:
    return _page(request, visitor, lists_shown(request), session)


@router.post(SESSION + "/publish")
def publish(
    request: Request, visitor: Building, form: Annotated[PublishForm, Depends(PublishForm.read)], session: str
) -> Response:
    """Keep the list as the next version, and tell its people what changed for them."""
    site, lists = site_of(request), lists_shown(request)
    session_named(lists, session)
    if form.seen != lists.seen:
        told = "The lists have changed since you opened this page. Look at this one again; nothing was published."
        return _page(request, visitor, lists, session, (told,), 409, form.note)
    if form.wrong:
        return _page(request, visitor, lists, session, tuple(form.wrong.values()), 422, form.note)
    if form.after is None:
        what = "the form does not say after which version it publishes"
        raise PlannerError.one(what, hint="load the page again")
    try:
        publisher, people = site.store.person(visitor.code), lists.notices(session)
        made = enter(site.desk, lists.week, session, lists.verdict, publisher, form.note, people, form.after)
    except PublishedMeanwhile as error:
        told = f"{error.last.by} published version {error.last.number}, {day_and_time(error.last.at)}, after you opened"
        told = f"{told} this page. Look at the list again; nothing of yours was published."
        return _page(request, visitor, lists_shown(request), session, (told,), 409, form.note)
    except PlannerError as error:
        return _page(request, visitor, lists, session, tuple(map(str, error.faults)), 422, form.note)
    if made.number == form.after:
        told = f"Version {form.after} is this very list, and there is no other note: no new version was made."
        return _page(request, visitor, lists, session, (told,))
    return RedirectResponse(session_path(session), 303)


@router.get(SESSION + "/version/{number}")
def version(request: Request, visitor: Reading, session: str, number: int) -> Response:
    """A published version, whole, each row marked that differs from the one before."""
    on = session_named(lists_shown(request), session)
    versions = {one.number: one for one in site_of(request).store.list_versions(on.day, session)}
    if number not in versions:
        raise HTTPException(404)
    shown, before = versions[number], versions.get(number - 1)
    changed: tuple[ListChange, ...] = ()
    if before is not None:
        changed = changes(lists_of(session, before.document), lists_of(session, shown.document))
    marks, off = _marks(changed)
    return page(
        request, "list_version.html", held=on, version=shown, off=off, numbers=sorted(versions),
        rows=[(row, marks.get((row["case"], row["eye"]), "")) for row in shown.document["rows"]],
    )  # fmt: skip


def _marks(changed: tuple[ListChange, ...]) -> tuple[dict[Key, str], list[str]]:
    """How rows are marked, and which cases came off."""
    marks = {one.case: change_mark(one.kind) for one in changed if one.now is not None}
    return marks, [eye_words(*one.case) for one in changed if one.now is None]


def _page(
    request: Request,
    visitor: Visitor,
    lists: ListsNow,
    session: str,
    faults: tuple[str, ...] = (),
    status: int = 200,
    note: str = "",
) -> Response:
    site, on, instance, week = site_of(request), session_named(lists, session), lists.instance, lists.week
    publication, placings, broken = lists.publication(session), week.list_of(session), lists.broken(session)
    marks, off = _marks(publication.changes)
    rows = [
        _row(site, lists, placing, start, marks.get(placing.case, ""))
        for placing, start in zip(placings, week.starts(session), strict=True)
    ]
    may_build = visitor.role in BUILDERS
    could = standby(instance, lists.lists, session, unknown=False).ready if may_build else ()
    return page(
        request, "list_session.html", status,
        held=on, path=session_path(session), rows=rows, lists=lists, broken=broken, faults=faults, note=note,
        uncovered=any(one.rule == approval_covers.id for one in broken), publication=publication, off=off,
        standby=could, expected=round(week.expected_minutes(session)), chance=week.chance_of_overrun(session),
        reasons=site.rulebook.lists.taken_off.reasons, may_build=may_build, longest=LONGEST,
    )  # fmt: skip


def _row(site: Site, lists: ListsNow, placing: Placing, start: float, mark: str) -> SessionRow:
    week, case, now = lists.week, lists.week.case(placing), lists.held.now[placing.case]
    begins = week.session(placing).span[0] + datetime.timedelta(minutes=round(start / 5) * 5)
    who, under = operator_and_other(week.team(placing))
    return SessionRow(
        placing, now, case.tier, who, under, begins, round(week.with_turnover(placing)), mark,
        tuple(of_standing(site.desk, now, now.allocation)) if now.allocation else (),
    )  # fmt: skip
