"""The roster from a file and to a file: what a file would add, change and set aside is shown before it is entered."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import PurePath
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from pydantic import Field, TypeAdapter, ValidationError
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.entries import KINDS, entries_of, no_new_fault, shaped
from planner.lists.roster.files import LARGEST, read_file, written_as
from planner.lists.roster.import_rows import ImportRow, ImportSource, import_rows
from planner.lists.roster.shapes import Roster
from planner.lists.roster.tables import MOST_ROWS, TABLES
from planner.records.rostering import RosterConflict
from planner.records.rows import RosterChange
from planner.web.roster.judged import RosterShown, affected, changeable, roster_shown, unit_of
from planner.web.roster.words import LABELS
from planner.web.security.authorisation import Building, Keeping
from planner.web.server.forms import Form, Prefixed, Ticked
from planner.web.server.presenting import page
from planner.web.server.site import site_of

router = APIRouter()
LOOK, ENTER = "/roster/take/look", "/roster/take/enter"
TAKES_FILES = (LOOK, ENTER)
FILES = ("roster.yaml", "roster.xlsx", *(f"{table}.csv" for table in TABLES), "sessions.ics")
TYPES = {
    ".yaml": "application/yaml", ".csv": "text/csv", ".ics": "text/calendar",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip
SERVED = "the sessions file that the server was given"
SENT = TypeAdapter(Annotated[list[RosterChange], Field(max_length=MOST_ROWS)])  # what a page wrote into its form
MOST_NAMES = 100
MOST_SHOWN = 200


@router.get("/roster/take/file")
def ask(request: Request, visitor: Keeping) -> Response:
    return _asked(request, ())


class LookForm(Form):
    """A file, or `again` what a calendar held that was sent before, with whom its names stand for.

    `served` is for the sessions file that the server was given; `what` the events of a calendar are.
    """

    file: UploadFile | None = None
    again: str = ""
    served: Ticked = False
    what: Literal["leave", "sessions", ""] = ""
    name: Annotated[dict[str, str], Prefixed("name.")] = {}
    code: Annotated[dict[str, str], Prefixed("code.")] = {}

    @property
    def names(self) -> dict[str, str]:
        """Names that stand for codes, as chosen on the page before."""
        pairs = ((self.name.get(str(n)), self.code.get(str(n))) for n in range(1, MOST_NAMES + 1))
        return {name: code for name, code in pairs if name and code}


class EnterForm(Form):
    """What was looked at; `aside` says whether `some` rows were set aside, and `the_rest` is taken all the same."""

    name: str = ""
    changes: str = ""
    aside: str = ""
    the_rest: Ticked = False


@router.post(LOOK)
def look_at(
    request: Request, visitor: Keeping, form: Annotated[LookForm, Depends(LookForm.read_with_file)]
) -> Response:
    """What a file, or the sessions file that the server was given, would do; nothing is entered yet."""
    site = site_of(request)
    roster = roster_shown(site)
    try:
        if form.served:
            if roster.stored or site.desk.file is None:
                raise HTTPException(404)
            return _shown(request, roster, SERVED, [_of_the_served(site.desk.file)], LookForm())
        changeable(site)
        name, content = _file_of(form)
        known = {person.name: person.code for person in site.store.people(active_only=True)}
        entries = roster.entries if roster.stored else ()
        zone, names = unit_of(site).clock, known | form.names
        sources = read_file(content, name, entries, zone, site.day_here(), form.what or None, names)
        # A calendar is looked at again once it is said who is meant in it.
        again = content.decode("utf-8-sig", "replace") if form.what else ""
        return _shown(request, roster, name, sources, form, again)
    except PlannerError as error:
        return _asked(request, tuple(map(str, error.faults)), 422)


@router.post(ENTER)
def enter(
    request: Request, visitor: Keeping, form: Annotated[EnterForm, Depends(EnterForm.read_with_file)]
) -> Response:
    """Enter what was looked at, all of it or nothing."""
    site = site_of(request)
    try:
        if form.name != SERVED:
            changeable(site)
        changes = _changes(form.changes)
        if form.aside == "some" and not form.the_rest:
            raise PlannerError.one("rows were set aside", "", "nothing is half taken unless you say so", "tick the box")
        note = f"taken from {form.name}"[:200]
        site.store.change_roster(changes, visitor.code, note, no_new_fault(unit_of(site), site.rulebook))
    except RosterConflict as conflict:
        return _asked(request, (*map(str, conflict.faults), "Nothing was taken: give the file again."), 409)
    except PlannerError as error:
        return _asked(request, tuple(map(str, error.faults)), 422)
    return RedirectResponse("/roster", 303)


@router.get("/roster/files/{name}")
def export(request: Request, visitor: Building, name: str) -> Response:
    site = site_of(request)
    if name not in FILES:
        raise HTTPException(404)
    stamp = site.settings.clock().astimezone(datetime.UTC).replace(microsecond=0)
    content = written_as(name, roster_shown(site).entries, unit_of(site).clock, stamp)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=TYPES[PurePath(name).suffix], headers=headers)


def _asked(request: Request, faults: Sequence[str], status: int = 200) -> Response:
    roster = roster_shown(site_of(request))
    return page(
        request, "roster_take.html", status,
        faults=faults[:MOST_SHOWN], files=FILES, endings=", ".join(LARGEST), offered=roster.file and not roster.stored,
        tables=", ".join(TABLES),
    )  # fmt: skip


def _file_of(form: LookForm) -> tuple[str, bytes]:
    """Name and content of the file sent, or of the one sent before with its page of names. Raises PlannerError."""
    if form.file is not None and form.file.filename:
        name = "".join(letter for letter in PurePath(form.file.filename).name if letter.isprintable())[:100]
        return name, form.file.file.read()
    if form.again:
        return "calendar.ics", form.again.encode()
    raise PlannerError.one("no file is chosen", hint="choose one, then look at what it says")


def _of_the_served(file: Roster) -> ImportSource:
    rows = []
    for entry in entries_of(file):
        where = KINDS[entry.kind].in_words(entry.key)
        rows.append(ImportRow(where, (where,), entry.kind, entry.key, entry.document, whole=True))
    return ImportSource(SERVED, ("entry",), tuple(rows))


def _shown(
    request: Request, roster: RosterShown, name: str, sources: list[ImportSource], form: LookForm, again: str = ""
) -> Response:
    site = site_of(request)
    found = import_rows(sources, roster.entries if roster.stored else (), unit_of(site), site.rulebook)
    rows = []
    for one in (one for one in found.entries if one.what != "same"):
        fields = [(LABELS.get(name, name.replace("_", " ")), was, now) for name, was, now in one.fields]
        rows.append((one.what, one.in_words, fields))
    summaries = dict.fromkeys(one.original[0] for one in found.set_aside if one.names_nobody)
    return page(
        request, "roster_look.html",
        name=name, found=found, rows=rows[:MOST_SHOWN], more=max(0, len(rows) - MOST_SHOWN),
        aside=found.set_aside[:MOST_SHOWN], changes=json.dumps([asdict(change) for change in found.changes]),
        loses=affected(site, roster, found.changes), names=form.names, what=form.what, again=again,
        unknown=[summary for summary in summaries if summary][:MOST_NAMES],
        codes=[*roster.people["trainee"], *roster.people["supervisor"]],
    )  # fmt: skip


def _changes(text: str) -> list[RosterChange]:
    """Changes as the page before wrote them, each looked at anew. Raises PlannerError."""
    changed = PlannerError.one("the form was changed on its way", hint="give the file again")
    try:
        sent = SENT.validate_json(text, strict=True)
    except ValidationError:
        raise changed from None
    for one in sent:
        if one.kind not in KINDS or one.document is None or not 0 <= one.based_on < 10**9:
            raise changed
        if faults := shaped(KINDS[one.kind], one.key, one.document)[1]:
            raise PlannerError(faults)
    return sent
