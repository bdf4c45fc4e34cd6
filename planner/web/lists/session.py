"""One session's list: its cases in order with the checker's verdict, what looks alike, and the ways to change it."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.doubts import of_standing
from planner.desk.lists import ListsNow
from planner.desk.placing import publish as enter
from planner.errors import PlannerError
from planner.lists.changes.differences import ListChange, changes
from planner.lists.changes.standby import standby
from planner.lists.changes.versions import lists_of
from planner.lists.output.brief_view import change_mark
from planner.lists.rules.people import approval_covers
from planner.lists.week.instance import Key
from planner.records.list_versions import PublishedMeanwhile
from planner.records.roles import BUILDERS
from planner.web.security.authorisation import Building, Reading
from planner.web.server.case_state import day_and_time
from planner.web.server.forms import Form, Number, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import SESSION, ListsAsked, lists_shown, session_named, session_path, site_of
from planner.wording.people import operator_and_other
from planner.wording.words import eye_words

router = APIRouter()
LONGEST = 200


class PublishForm(Form):
    """`after` is the version that the page was made from, 0 for none."""

    seen: str = ""
    note: Annotated[Text, up_to(LONGEST, f"The note has more than {LONGEST} characters.")] = ""
    after: Number = None


Published = Annotated[PublishForm, Depends(PublishForm.read)]


@router.get(SESSION)
def show(request: Request, visitor: Reading, lists: ListsAsked, session: str) -> Response:
    return _page(request, lists, session)


@router.post(SESSION + "/publish")
def publish(request: Request, visitor: Building, form: Published, lists: ListsAsked, session: str) -> Response:
    """Keep the list as the next version, and tell its people what changed for them."""
    site = site_of(request)
    session_named(lists, session)
    if form.seen != lists.seen:
        told = "The lists have changed since you opened this page. Look at this one again; nothing was published."
        return _page(request, lists, session, told, status=409, note=form.note)
    if form.wrong:
        return _page(request, lists, session, *form.wrong.values(), note=form.note)
    if form.after is None:
        what = "the form does not say after which version it publishes"
        raise PlannerError.one(what, hint="load the page again")
    try:
        publisher, people = site.store.person(visitor.code), lists.notices(session)
        made = enter(site.desk, lists.week, session, lists.verdict, publisher, form.note, people, form.after)
    except PublishedMeanwhile as error:
        told = f"{error.last.by} published version {error.last.number}, {day_and_time(error.last.at)}, after you opened"
        told = f"{told} this page. Look at the list again; nothing of yours was published."
        return _page(request, lists_shown(request), session, told, status=409, note=form.note)
    except PlannerError as error:
        return _page(request, lists, session, *map(str, error.faults), note=form.note)
    if made.number == form.after:
        told = f"Version {form.after} is this very list, and there is no other note: no new version was made."
        return _page(request, lists, session, told, status=200)
    return RedirectResponse(session_path(session), 303)


@router.get(SESSION + "/version/{number}")
def version(request: Request, visitor: Reading, session: str, number: int) -> Response:
    """A published version, whole, each row marked that differs from the one before."""
    on = session_named(lists_shown(request), session)
    versions = {one.number: one for one in site_of(request).store.list_versions(on.day, session)}
    if number not in versions:
        raise HTTPException(404)
    shown, before = versions[number], versions.get(number - 1)
    marks, off = _marks(changes(*(lists_of(session, one.document) for one in (before, shown))) if before else ())
    return page(
        request, "list_version.html", held=on, version=shown, off=off, numbers=sorted(versions),
        rows=[(row, marks.get((row["case"], row["eye"]), "")) for row in shown.document["rows"]],
    )  # fmt: skip


def _marks(changed: tuple[ListChange, ...]) -> tuple[dict[Key, str], list[str]]:
    """How rows are marked that differ from the last version, and which cases came off."""
    marks = {one.case: change_mark(one.kind) for one in changed if one.now is not None}
    return marks, [eye_words(*one.case) for one in changed if one.now is None]


def _page(request: Request, lists: ListsNow, session: str, *faults: str, status: int = 0, note: str = "") -> Response:
    site, on, week = site_of(request), session_named(lists, session), lists.week
    publication, broken = lists.publication(session), lists.broken(session)
    may_build = request.state.visitor.role in BUILDERS
    marks, off = _marks(publication.changes)
    rows = [
        {
            "placing": placing, "now": (now := lists.held.now[placing.case]), "mark": marks.get(placing.case, ""),
            "who": operator_and_other(week.team(placing)),
            "starts": on.span[0] + datetime.timedelta(minutes=round(start / 5) * 5),
            "doubts": tuple(of_standing(site.desk, now, now.allocation)) if now.allocation else (),
        }
        for placing, start in zip(week.list_of(session), week.starts(session), strict=True)
    ]  # fmt: skip
    return page(
        request, "list_session.html", status,
        held=on, path=session_path(session), rows=rows, lists=lists, broken=broken, faults=faults,
        note=note, longest=LONGEST,
        uncovered=any(one.rule == approval_covers.id for one in broken), publication=publication, off=off,
        standby=standby(lists.instance, lists.lists, session, unknown=False).ready if may_build else (),
        chance=week.chance_of_overrun(session), reasons=site.rulebook.lists.taken_off.reasons, may_build=may_build,
    )  # fmt: skip
