"""One entry of the roster: looked at, changed, retired, an earlier version brought back; and leave, by its days."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.entries import KINDS, PEOPLE, EntryKind, no_new_fault, wrong_fields
from planner.lists.roster.fields import cell_of, days_between, fields_of
from planner.readings import read_day
from planner.records.roles import KEEPERS
from planner.records.rostering import RosterConflict
from planner.records.rows import RosterChange, RosterEntry
from planner.web.cases.answers import FINDING
from planner.web.roster.form import options_of, read_form, shown_fields
from planner.web.roster.judged import (
    RosterShown,
    affected,
    changeable,
    entry_path,
    kind_of,
    retired_with,
    roster_shown,
    unit_of,
)
from planner.web.roster.words import kind_words, label
from planner.web.security.authorisation import Building, Keeping, Visitor
from planner.web.server.forms import Form, Prefixed, Text, Ticked, VersionNumber, cut, up_to
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
EntryKey = Annotated[str, Query(max_length=200)]
ENTRY = "/roster/entry/{kind}"
LONGEST_NOTE = 200
LARGEST_SETTLED = 20_000
# Where an entry is seen among its kind.
VIEW_OF = {"trainee": "people", "supervisor": "people", "session": "", "limits": "limits", "wishes": "limits"}


class EntryChangeForm(Form):
    """An entry, the version that its page showed, and why it is changed; `sure` once what hangs on it was seen."""

    key: str = ""
    based_on: VersionNumber
    note: Annotated[Text, up_to(LONGEST_NOTE, f"the note has more than {LONGEST_NOTE} characters")] = ""
    sure: Ticked = False


class EntryForm(EntryChangeForm):
    """The fields of an entry as typed, or `settled`: the document that the page before made of them."""

    settled: str = ""
    typed: Annotated[dict[str, list[str]], Prefixed(FINDING)] = {}


class EarlierForm(EntryChangeForm):
    version: VersionNumber


class LeaveForm(Form):
    """Days (`last` left out: one) to add to or take off leave; `sure` once the placings on them were seen."""

    who: str = ""
    act: Literal["add", "off", ""] = ""
    first: Text = ""
    last: Text = ""
    sure: Ticked = False
    note: Annotated[str, cut(200)] = ""


@dataclass(frozen=True)
class EntryRefused:
    """A form that was not taken: what it was made from and said, as typed (None: nothing was), and what is wrong."""

    based_on: int
    document: Mapping[str, Any]
    typed: Mapping[str, Any] | None = None
    wrong: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[str, ...] = ()


@router.get(ENTRY)
def entry(request: Request, visitor: Building, kind: str, key: EntryKey = "") -> Response:
    """The form of an entry; without a key, of a new one."""
    shape, roster = kind_of(kind), roster_shown(site_of(request))
    found = roster.entry(kind, key)
    if found is None and key and (shape.listed or not key.isprintable()):
        raise HTTPException(404)
    return _form(request, roster, shape, found)


@router.post(ENTRY)
def save(
    request: Request, visitor: Keeping, form: Annotated[EntryForm, Depends(EntryForm.read)], kind: str
) -> Response:
    """Enter what the form says; what placings would lose by it is shown before."""
    shape, roster = kind_of(kind), changeable(site_of(request))
    key, based_on = form.key, form.based_on
    found = roster.entry(kind, key) if key or not shape.listed else None
    if shape.listed and key and found is None:
        raise HTTPException(404)
    typed: Mapping[str, Any] | None = None
    if form.settled:
        document = _settled(form.settled)
        wrong = wrong_fields(shape, document)
    else:
        document, typed, wrong = read_form(shape, found.document if found else None, form.typed)
    if not wrong and not key and shape.listed:
        key = shape.key_of(document)
        if any(one.key == key for one in roster.of(kind)):
            wrong = {shape.identity[0]: f"{key} is in the roster already"}
        elif (gone := roster.entry(kind, key)) is not None:
            # Somebody who comes back goes on from the version at which they left.
            based_on = gone.number
    if wrong:
        return _form(request, roster, shape, found, EntryRefused(based_on, document, typed, wrong), 422)
    return _entered(request, visitor, roster, [RosterChange(kind, key, based_on, document)], form, typed)


@router.post(ENTRY + "/retire")
def retire(
    request: Request, visitor: Keeping, form: Annotated[EntryChangeForm, Depends(EntryChangeForm.read)], kind: str
) -> Response:
    """Take an entry out of the roster, once what that leaves was seen; nothing is deleted."""
    roster = changeable(site_of(request))
    first, *others = retired_with(roster, kind_of(kind).name, form.key)
    return _entered(request, visitor, roster, [replace(first, based_on=form.based_on), *others], form)


@router.post(ENTRY + "/earlier")
def earlier(
    request: Request, visitor: Keeping, form: Annotated[EarlierForm, Depends(EarlierForm.read)], kind: str
) -> Response:
    """Bring an earlier version back, as a further one."""
    site, name = site_of(request), kind_of(kind).name
    roster = changeable(site)
    versions = {one.number: one.document for one in site.store.roster_versions(name, form.key)}
    if form.version not in versions:
        raise HTTPException(404)
    change = RosterChange(name, form.key, form.based_on, versions[form.version])
    return _entered(request, visitor, roster, [change], form)


@router.post("/roster/leave/change")
def change_leave(request: Request, visitor: Keeping, form: Annotated[LeaveForm, Depends(LeaveForm.read)]) -> Response:
    """Add the days, or take them off; who has placings on them is shown before they are added."""
    site = site_of(request)
    roster = changeable(site)
    if not form.act:
        raise HTTPException(404)
    loses: list[str] = []
    faults: tuple[str, ...] = ()
    try:
        changes = [_other_leave(roster, form)]
        loses = affected(site, roster, changes)
        if not loses or form.sure:
            check = no_new_fault(unit_of(site), site.rulebook)
            site.store.change_roster(changes, visitor.code, form.note, check)
            return RedirectResponse("/roster/leave", 303)
    except ValueError as error:
        faults = (str(error),)
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    return page(
        request, "roster_leave.html", 422 if faults else 200,
        who=form.who[:200], first=form.first[:10], last=(form.last or form.first)[:10], faults=faults, loses=loses,
    )  # fmt: skip


def _settled(text: str) -> dict[str, Any]:
    """A document as a page before wrote it into its form. Raises PlannerError for what no page wrote."""
    try:
        document = json.loads(text[:LARGEST_SETTLED])
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict):
        raise PlannerError.one("the form was changed on its way", hint="go back, and enter it again")
    return document


def _entered(
    request: Request, visitor: Visitor, roster: RosterShown, changes: Sequence[RosterChange], form: EntryChangeForm,
    typed: Mapping[str, Any] | None = None,
) -> Response:  # fmt: skip
    """The changes entered, or the page that says what stands in their way or hangs on them."""
    site, change = site_of(request), changes[0]
    kind, status = KINDS[change.kind], 422
    try:
        loses = affected(site, roster, changes)
        if (loses or change.document is None) and not form.sure:
            return _sure(request, kind, changes, loses, form.note)
        if form.wrong:
            raise PlannerError.one(form.wrong["note"])
        site.store.change_roster(changes, visitor.code, form.note, no_new_fault(unit_of(site), site.rulebook))
        back = f"/roster/{VIEW_OF.get(kind.name, 'patients')}".rstrip("/")
        week = f"?week={change.document['day']}" if kind.name == "session" and change.document else ""
        return RedirectResponse(f"{back}{week}", 303)
    except RosterConflict as conflict:
        if conflict.pairs[0][0] is change and change.document is not None:
            return _conflict(request, kind, change, conflict.pairs[0][1])
        faults, status = tuple(map(str, conflict.faults)), 409
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    refused = EntryRefused(change.based_on, change.document or {}, typed, faults=faults)
    return _form(request, roster, kind, roster.entry(kind.name, change.key), refused, status)


def _sure(
    request: Request, kind: EntryKind, changes: Sequence[RosterChange], loses: Sequence[str], note: str
) -> Response:
    """What hangs on what would be changed, and the form that does it all the same."""
    change = changes[0]
    also = [KINDS[one.kind].in_words(one.key) for one in changes[1:]]
    return page(
        request, "roster_sure.html",
        told=kind.in_words(change.key), change=change, loses=loses, also=also, note=note, longest=LONGEST_NOTE,
        settled="" if change.document is None else json.dumps(change.document),
        back=entry_path(change.kind, change.key),
    )  # fmt: skip


def _conflict(request: Request, kind: EntryKind, change: RosterChange, now: RosterEntry | None) -> Response:
    """The page for the second of two (409): what each changed, and the way on. Nothing of the second is kept yet."""
    versions = site_of(request).store.roster_versions(change.kind, change.key)
    base = next((one.document for one in versions if one.number == change.based_on), {})
    theirs = {} if now is None or now.retired else now.document
    mine = change.document or {}
    sides, merged = [], dict(theirs)
    for about in fields_of(kind.shape):
        was, other, own = (cell_of(about, one.get(about.name)) for one in (base, theirs, mine))
        if own != was:
            merged[about.name] = mine.get(about.name)
        if own != was or other != was:
            both = own != was and other not in (was, own)
            sides.append({"label": label(about), "base": was, "theirs": other, "mine": own, "both": both})
    merged = {name: value for name, value in merged.items() if value is not None}
    return page(
        request, "roster_conflict.html", 409,
        told=kind.in_words(change.key), sides=sides, change=change, now=now, settled=json.dumps(merged),
        back=entry_path(change.kind, change.key),
    )  # fmt: skip


def _form(
    request: Request, roster: RosterShown, kind: EntryKind, found: RosterEntry | None,
    refused: EntryRefused | None = None, status: int = 200,
) -> Response:  # fmt: skip
    site = site_of(request)
    visitor: Visitor = request.state.visitor
    # A form that was refused stays made from what it was made from, whatever was changed since.
    shown = refused or (EntryRefused(found.number, found.document) if found else EntryRefused(0, {}))
    options = options_of(site, kind, roster.people)
    fields = shown_fields(kind, shown.document, options, found is None, shown.wrong, shown.typed)
    key = found.key if found else ""
    return page(
        request, "roster_entry.html", status,
        words=kind_words(kind), kind=kind.name, key=key, fields=fields, faults=shown.faults, wrong=shown.wrong,
        based_on=shown.based_on, retired=found is not None and found.retired,
        versions=_versions(site, kind, key) if found and roster.stored else [],
        may_keep=visitor.role in KEEPERS and roster.changeable, listed=kind.listed,
        back=f"/roster/{VIEW_OF.get(kind.name, 'patients')}".rstrip("/"), longest=LONGEST_NOTE, stored=roster.stored,
    )  # fmt: skip


def _versions(site: Site, kind: EntryKind, key: str) -> list[dict[str, object]]:
    """Every version, the last one first, with what it changed."""
    found: list[dict[str, object]] = []
    before: Mapping[str, Any] = {}
    for one in site.store.roster_versions(kind.name, key):
        changed = [
            f"{label(about)}: {now or 'nothing'}"
            for about in fields_of(kind.shape)
            if (now := cell_of(about, one.document.get(about.name))) != cell_of(about, before.get(about.name))
        ]
        what = "retired" if one.retired else "; ".join(changed) or "brought back"
        found.insert(0, {"entry": one, "what": what})
        before = one.document
    return found


def _other_leave(roster: RosterShown, form: LeaveForm) -> RosterChange:
    """The person with other days of leave. Raises PlannerError, and ValueError for days that make no span."""
    begin, end = read_day(form.first), read_day(form.last or form.first)
    person = next((one for kind in PEOPLE for one in roster.of(kind) if one.key == form.who), None)
    if person is None:
        raise PlannerError.one("nobody is chosen", hint="somebody of the roster")
    if begin is None or end is None:
        raise PlannerError.one("a day is missing, or is none", hint="write it like 2026-12-01")
    days, kept = set(map(str, days_between(begin, end))), set(map(str, person.document.get("leave", [])))
    leave = sorted(kept | days if form.act == "add" else kept - days)
    document = {name: value for name, value in person.document.items() if name != "leave"}
    return RosterChange(person.kind, person.key, person.number, document | ({"leave": leave} if leave else {}))
