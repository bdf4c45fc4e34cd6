"""One entry of the roster: looked at, changed, retired, and an earlier version of it brought back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.lists.roster.entries import KINDS, EntryKind, no_new_fault, wrong_fields
from planner.lists.roster.fields import cell_of, fields_of
from planner.records.rostering import RosterConflict
from planner.records.rows import BUILDERS, KEEPERS, RosterChange, RosterEntry
from planner.web.roster.form import options_of, read_form, shown_fields
from planner.web.roster.judged import (
    Held,
    affected,
    changeable,
    entry_path,
    held_of,
    kind_of,
    retired_with,
    unit_of,
)
from planner.web.roster.words import kind_words, label
from planner.web.security.authorisation import Keeping, Posted, RolesAllowed, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
Reading = Annotated[Visitor, Depends(RolesAllowed(*BUILDERS))]
Key = Annotated[str, Query(max_length=200)]
ENTRY = "/roster/entry/{kind}"
LONGEST_NOTE = 200
LARGEST_SETTLED = 20_000
# Where an entry is seen among its kind.
VIEW_OF = {"trainee": "people", "supervisor": "people", "session": "", "limits": "limits", "wishes": "limits"}


@router.get(ENTRY)
def entry(request: Request, visitor: Reading, kind: str, key: Key = "") -> Response:
    """The form of an entry; without a key, of a new one."""
    site, shape = site_of(request), kind_of(kind)
    held = held_of(site)
    found = held.entry(kind, key)
    if found is None and key and (shape.listed or not key.isprintable()):
        raise HTTPException(404)
    return _form(request, held, shape, found)


@router.post(ENTRY)
def save(request: Request, visitor: Keeping, form: Posted, kind: str) -> Response:
    """Enter what the form says; what placings would lose by it is shown before."""
    site, shape = site_of(request), kind_of(kind)
    held = changeable(site)
    key, based_on = str(form.get("key", "")), _number(form)
    found = held.entry(kind, key) if key or not shape.listed else None
    if shape.listed and key and found is None:
        raise HTTPException(404)
    settled = str(form.get("settled", ""))
    if settled:
        document, typed, wrong = _settled(shape, settled), {}, {}
        wrong = wrong_fields(shape, document)
    else:
        read = read_form(shape, found.document if found else None, form)
        document, typed, wrong = read.document, dict(read.typed), dict(read.wrong)
    if not wrong and not key and shape.listed:
        key = shape.key_of(document)
        if any(one.key == key for one in held.of(kind)):
            wrong = {shape.identity[0]: f"{key} is in the roster already"}
        elif (gone := held.entry(kind, key)) is not None:
            # Somebody who comes back goes on from the version at which they left.
            based_on = gone.number
    if wrong:
        return _form(request, held, shape, found, based_on, wrong, typed or None, document, status=422)
    change = RosterChange(kind, key, based_on, document)
    return _entered(request, visitor, held, shape, [change], form, typed)


@router.post(ENTRY + "/retire")
def retire(request: Request, visitor: Keeping, form: Posted, kind: str) -> Response:
    """Take an entry out of the roster, once what that leaves was seen; nothing is deleted."""
    site, shape = site_of(request), kind_of(kind)
    held = changeable(site)
    changes = retired_with(held, kind, str(form.get("key", "")))
    changes[0] = RosterChange(kind, changes[0].key, _number(form), None)
    return _entered(request, visitor, held, shape, changes, form, None, ask=True)


@router.post(ENTRY + "/earlier")
def earlier(request: Request, visitor: Keeping, form: Posted, kind: str) -> Response:
    """Bring an earlier version back, as a further one."""
    site, shape = site_of(request), kind_of(kind)
    held, key = changeable(site), str(form.get("key", ""))
    wanted = _number(form, "version")
    version = next((one for one in site.store.roster_versions(kind, key) if one.number == wanted), None)
    if version is None:
        raise HTTPException(404)
    change = RosterChange(kind, key, _number(form), version.document)
    return _entered(request, visitor, held, shape, [change], form, None)


def _number(form: FormData, name: str = "based_on") -> int:
    """The version that a form names. Raises PlannerError for what is no number."""
    text = str(form.get(name, ""))
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise PlannerError.one("the form does not say which version it was made from", hint="load the page again")
    return int(text)


def _settled(kind: EntryKind, text: str) -> dict[str, Any]:
    """A document as a page before wrote it into its form. Raises PlannerError for what no page wrote."""
    try:
        document = json.loads(text[:LARGEST_SETTLED])
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict):
        raise PlannerError.one("the form was changed on its way", hint="go back, and enter it again")
    return document


def _entered(
    request: Request,
    visitor: Visitor,
    held: Held,
    kind: EntryKind,
    changes: Sequence[RosterChange],
    form: FormData,
    typed: Mapping[str, Any] | None,
    ask: bool = False,
) -> Response:
    """The changes entered, or the page that says what stands in their way or hangs on them."""
    site, change = site_of(request), changes[0]
    note = str(form.get("note", "")).strip()[: LONGEST_NOTE + 1]
    found = held.entry(change.kind, change.key)
    faults: tuple[str, ...] = ()
    status = 422
    try:
        loses = affected(site, held, changes)
        if (loses or ask) and form.get("sure") != "yes":
            return _sure(request, kind, changes, loses, note)
        if len(note) > LONGEST_NOTE:
            raise PlannerError.one(f"the note has more than {LONGEST_NOTE} letters")
        site.store.change_roster(changes, visitor.code, note, no_new_fault(unit_of(site), site.rulebook))
    except RosterConflict as conflict:
        if conflict.pairs[0][0] is change and change.document is not None:
            return _conflict(request, kind, change, conflict.pairs[0][1])
        faults, status = tuple(map(str, conflict.faults)), 409
    except PlannerError as error:
        faults = tuple(map(str, error.faults))
    if faults:
        document = dict(change.document or {})
        return _form(request, held, kind, found, change.based_on, {}, typed, document, faults, status)
    back = f"/roster/{VIEW_OF.get(kind.name, 'patients')}".rstrip("/")
    return RedirectResponse(
        f"{back}?week={change.document['day']}" if kind.name == "session" and change.document else back, 303
    )


def _sure(
    request: Request, kind: EntryKind, changes: Sequence[RosterChange], loses: Sequence[str], note: str
) -> Response:
    """What hangs on what would be changed, and the form that does it all the same."""
    change = changes[0]
    also = [KINDS[one.kind].in_words(one.key) for one in changes[1:]]
    return page(
        request, "roster_sure.html",
        told=kind.in_words(change.key), change=change, loses=loses, also=also, note=note, longest=LONGEST_NOTE,
        settled="" if change.document is None else json.dumps(change.document), words=kind_words(kind),
        back=entry_path(change.kind, change.key),
    )  # fmt: skip


@dataclass(frozen=True)
class Side:
    """One field of two that were changed at once."""

    label: str
    base: str
    theirs: str
    mine: str
    both: bool


def _conflict(request: Request, kind: EntryKind, change: RosterChange, now: RosterEntry | None) -> Response:
    """The page for the second of two (409): what each changed, and the way on. Nothing of the second is kept yet."""
    versions = site_of(request).store.roster_versions(change.kind, change.key)
    base = next((one.document for one in versions if one.number == change.based_on), {})
    theirs = {} if now is None or now.retired else now.document
    mine = change.document or {}
    sides, merged = [], dict(theirs)
    for field in fields_of(kind.shape):
        was, other, own = (cell_of(field, one.get(field.name)) for one in (base, theirs, mine))
        if own != was:
            merged[field.name] = mine.get(field.name)
        if own != was or other != was:
            both = own != was and other != was and own != other
            sides.append(Side(label(field), was, other, own, both))
    merged = {name: value for name, value in merged.items() if value is not None}
    return page(
        request, "roster_conflict.html", 409,
        told=kind.in_words(change.key), sides=sides, change=change, now=now, settled=json.dumps(merged),
        at=day_and_time(now.at) if now else "", back=entry_path(change.kind, change.key),
    )  # fmt: skip


@dataclass(frozen=True)
class Version:
    """An entry as it once was."""

    number: int
    at: str
    by: str
    what: str
    note: str


def _form(
    request: Request,
    held: Held,
    kind: EntryKind,
    found: RosterEntry | None,
    based_on: int | None = None,
    wrong: Mapping[str, str] | None = None,
    typed: Mapping[str, Any] | None = None,
    document: Mapping[str, Any] | None = None,
    faults: Sequence[str] = (),
    status: int = 200,
) -> Response:
    site = site_of(request)
    visitor: Visitor = request.state.visitor
    shown = document if document is not None else found.document if found else {}
    fields = shown_fields(
        kind, shown, options_of(site, kind, held.people), is_new=found is None, wrong=wrong, typed=typed
    )  # fmt: skip
    key = found.key if found else ""
    # A form that was refused stays made from what it was made from, whatever was changed since.
    base = based_on if based_on is not None else found.number if found else 0
    return page(
        request, "roster_entry.html", status,
        words=kind_words(kind), kind=kind.name, key=key, fields=fields, faults=faults, wrong=wrong or {},
        based_on=base, retired=found is not None and found.retired,
        versions=_versions(site, kind, key) if found and held.stored else [],
        may_keep=visitor.role in KEEPERS and held.changeable, listed=kind.listed,
        back=f"/roster/{VIEW_OF.get(kind.name, 'patients')}".rstrip("/"), longest=LONGEST_NOTE, stored=held.stored,
    )  # fmt: skip


def _versions(site: Site, kind: EntryKind, key: str) -> list[Version]:
    """Every version, the last one first, with what it changed."""
    found: list[Version] = []
    before: Mapping[str, Any] = {}
    for one in site.store.roster_versions(kind.name, key):
        changed = [
            f"{label(field)}: {cell_of(field, one.document.get(field.name)) or 'nothing'}"
            for field in fields_of(kind.shape)
            if cell_of(field, one.document.get(field.name)) != cell_of(field, before.get(field.name))
        ]
        what = "retired" if one.retired else "; ".join(changed) or "brought back"
        found.insert(0, Version(one.number, day_and_time(one.at), one.by, what, one.note))
        before = one.document
    return found
