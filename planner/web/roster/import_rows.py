"""The roster from a file and to a file: what a file would add, change and set aside is shown before it is entered."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.calendar import Events
from planner.lists.roster.entries import KINDS, entries_of, no_new_fault, shaped
from planner.lists.roster.files import LARGEST, read_file, written_as
from planner.lists.roster.import_rows import EntryImport, ImportRow, ImportSource, RosterImport, import_rows
from planner.lists.roster.tables import MOST_ROWS, TABLES
from planner.records.rostering import RosterConflict
from planner.records.rows import BUILDERS, RosterChange
from planner.web.roster.judged import Held, affected, changeable, held_of, unit_of
from planner.web.roster.words import LABELS
from planner.web.security.authorisation import Keeping, PostedWithFile, RolesAllowed, Visitor
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
Reading = Annotated[Visitor, Depends(RolesAllowed(*BUILDERS))]
LOOK, ENTER = "/roster/take/look", "/roster/take/enter"
TAKES_FILES = (LOOK, ENTER)
FILES = ("roster.yaml", "roster.xlsx", *(f"{table}.csv" for table in TABLES), "sessions.ics")
TYPES = {
    ".yaml": "application/yaml", ".csv": "text/csv", ".ics": "text/calendar",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip
WHATS: tuple[Events, ...] = ("leave", "sessions")
SERVED = "the sessions file that the server was given"
MOST_NAMES = 100
MOST_SHOWN = 200


@router.get("/roster/take/file")
def ask(request: Request, visitor: Keeping) -> Response:
    return _asked(request, ())


@router.post(LOOK)
def look_at(request: Request, visitor: Keeping, form: PostedWithFile) -> Response:
    """What a file, or the sessions file that the server was given, would do; nothing is entered yet."""
    site = site_of(request)
    held = held_of(site)
    try:
        if form.get("served") == "yes":
            if held.stored or site.desk.roster.file is None:
                raise HTTPException(404)
            return _shown(request, held, SERVED, [_of_the_served(site)])
        changeable(site)
        name, content = _file_of(form)
        names = dict(_names(form))
        known = {person.name: person.code for person in site.store.people(active_only=True)}
        what = next((one for one in WHATS if one == form.get("what")), None)
        entries = held.entries if held.stored else ()
        given = read_file(content, name, entries, unit_of(site).clock, site.day_here(), what, known | names)
        # A calendar is looked at again once it is said who is meant in it.
        again = content.decode("utf-8-sig", "replace") if what else ""
        return _shown(request, held, name, given, what, names, again)
    except PlannerError as error:
        return _asked(request, tuple(map(str, error.faults)), 422)


@router.post(ENTER)
def enter(request: Request, visitor: Keeping, form: PostedWithFile) -> Response:
    """Enter what was looked at, all of it or nothing."""
    site = site_of(request)
    try:
        if form.get("name") != SERVED:
            changeable(site)
        changes = _changes(str(form.get("changes", "")))
        if form.get("aside") == "some" and form.get("the_rest") != "yes":
            raise PlannerError.one("rows were set aside", "", "nothing is half taken unless you say so", "tick the box")
        note = f"taken from {form.get('name', '')!s}"[:200]
        site.store.change_roster(changes, visitor.code, note, no_new_fault(unit_of(site), site.rulebook))
    except RosterConflict as conflict:
        return _asked(request, (*map(str, conflict.faults), "Nothing was taken: give the file again."), 409)
    except PlannerError as error:
        return _asked(request, tuple(map(str, error.faults)), 422)
    return RedirectResponse("/roster", 303)


@router.get("/roster/files/{name}")
def export(request: Request, visitor: Reading, name: str) -> Response:
    site = site_of(request)
    if name not in FILES:
        raise HTTPException(404)
    stamp = site.settings.clock().astimezone(datetime.UTC).replace(microsecond=0)
    content = written_as(name, held_of(site).entries, unit_of(site).clock, stamp)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=TYPES[PurePath(name).suffix], headers=headers)


def _asked(request: Request, faults: Sequence[str], status: int = 200) -> Response:
    held = held_of(site_of(request))
    return page(
        request, "roster_take.html", status,
        faults=faults[:MOST_SHOWN], files=FILES, endings=", ".join(LARGEST), offered=held.file and not held.stored,
        tables=", ".join(TABLES),
    )  # fmt: skip


def _file_of(form: FormData) -> tuple[str, bytes]:
    """Name and content of the file sent, or of the one sent before with its page of names. Raises PlannerError."""
    sent = form.get("file")
    if isinstance(sent, UploadFile) and sent.filename:
        name = "".join(letter for letter in PurePath(sent.filename).name if letter.isprintable())[:100]
        return name, sent.file.read()
    if form.get("again"):
        return "calendar.ics", str(form.get("again")).encode()
    raise PlannerError.one("no file is chosen", hint="choose one, then look at what it says")


def _names(form: FormData) -> list[tuple[str, str]]:
    """Names that stand for codes, as chosen on the page before."""
    found = []
    for number in range(1, MOST_NAMES + 1):
        name, code = str(form.get(f"name.{number}", "")), str(form.get(f"code.{number}", ""))
        if name and code:
            found.append((name, code))
    return found


def _of_the_served(site: Site) -> ImportSource:
    assert site.desk.roster.file is not None
    rows = []
    for entry in entries_of(site.desk.roster.file):
        where = KINDS[entry.kind].in_words(entry.key)
        rows.append(ImportRow(where, (where,), entry.kind, entry.key, entry.document, whole=True))
    return ImportSource(SERVED, ("entry",), tuple(rows))


def _shown(
    request: Request, held: Held, name: str, given: list[ImportSource], what: Events | None = None,
    names: Mapping[str, str] | None = None, again: str = "",
) -> Response:  # fmt: skip
    site = site_of(request)
    found = import_rows(given, held.entries if held.stored else (), unit_of(site), site.rulebook)
    rows = [(one.what, one.in_words, _fields(one)) for one in found.entries if one.what != "same"]
    sent = [{"kind": c.kind, "key": c.key, "based_on": c.based_on, "document": c.document} for c in found.changes]
    return page(
        request, "roster_look.html",
        name=name, found=found, rows=rows[:MOST_SHOWN], more=max(0, len(rows) - MOST_SHOWN),
        aside=found.set_aside[:MOST_SHOWN], changes=json.dumps(sent), loses=affected(site, held, found.changes),
        unknown=_unknown(found) if what == "leave" else [], names=names or {}, what=what or "",
        again=again, codes=[*held.people["trainee"], *held.people["supervisor"]],
    )  # fmt: skip


def _fields(one: EntryImport) -> list[tuple[str, str, str]]:
    return [(LABELS.get(name, name.replace("_", " ")), was, now) for name, was, now in one.fields]


def _unknown(found: RosterImport) -> list[str]:
    """The summaries of events that name nobody."""
    summaries = dict.fromkeys(one.original[0] for one in found.set_aside if one.names_nobody)
    return [summary for summary in summaries if summary][:MOST_NAMES]


def _changes(text: str) -> list[RosterChange]:
    """Changes as the page before wrote them, each looked at anew. Raises PlannerError."""
    wrong = PlannerError.one("the form was changed on its way", hint="give the file again")
    try:
        sent: Any = json.loads(text)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(sent, list) or len(sent) > MOST_ROWS:
        raise wrong
    changes = []
    for one in sent:
        if not isinstance(one, dict) or set(one) != {"kind", "key", "based_on", "document"}:
            raise wrong
        kind = KINDS.get(one["kind"]) if isinstance(one["kind"], str) else None
        based_on = one["based_on"]
        fits = isinstance(one["key"], str) and isinstance(one["document"], dict) and type(based_on) is int
        if kind is None or not fits or not 0 <= based_on < 10**9:
            raise wrong
        _, faults = shaped(kind, one["key"], one["document"])
        if faults:
            raise PlannerError(faults)
        changes.append(RosterChange(kind.name, one["key"], based_on, one["document"]))
    return changes
