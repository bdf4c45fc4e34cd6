"""The roster as the pages show it, and the placings that a change of it would leave without what they rest on."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException

from planner.errors import Fault, PlannerError
from planner.lists.roster.entries import KINDS, PEOPLE, EntryKind, entries_of
from planner.lists.roster.shapes import Roster, Session, room_of
from planner.records.rows import ListPlace, RosterChange, RosterEntry
from planner.unit import Unit
from planner.web.server.site import Site
from planner.wording.words import day_words

FAR = datetime.timedelta(days=400)


@dataclass(frozen=True)
class RosterShown:
    """The roster in force. Without `stored` it is the sessions file's, to be looked at, or there is none yet."""

    entries: tuple[RosterEntry, ...]
    stored: bool
    file: bool
    roster: Roster
    faults: tuple[Fault, ...] = ()

    @property
    def changeable(self) -> bool:
        """Whether entries may be changed one by one: one alone would put a whole sessions file out of force."""
        return self.stored or not self.file

    @cached_property
    def people(self) -> dict[str, tuple[str, ...]]:
        """The codes of each kind of person."""
        return {kind: tuple(one.key for one in self.of(kind)) for kind in PEOPLE}

    def of(self, kind: str) -> list[RosterEntry]:
        """The entries of a kind that are not retired."""
        return [one for one in self.entries if one.kind == kind and not one.retired]

    def entry(self, kind: str, key: str) -> RosterEntry | None:
        return next((one for one in self.entries if (one.kind, one.key) == (kind, key)), None)

    def coming(self, since: datetime.date) -> list[Session]:
        """The sessions from a day on, by day and hour."""
        found = [one for one in self.roster.sessions if one.day >= since]
        return sorted(found, key=lambda one: (one.span[0], one.theatre))


def unit_of(site: Site) -> Unit:
    """The unit that the roster is of. Raises PlannerError where the server was given none."""
    if site.unit is None:
        why = "stages and kit stand in the unit's file"
        raise PlannerError.one("this server was started without a unit", why=why, hint="planner serve --unit unit.yaml")
    return site.unit


def roster_shown(site: Site) -> RosterShown:
    """The roster in force as it stands now. Raises PlannerError for a server without a unit."""
    entries, checked = site.desk.stored_roster(unit_of(site))
    file = site.desk.file
    if file is not None and not entries:
        return RosterShown(tuple(entries_of(file)), False, True, file)
    return RosterShown(entries, bool(entries), file is not None, checked.roster, checked.faults)


def changeable(site: Site) -> RosterShown:
    """The roster in force, to be changed. Raises PlannerError while it is the sessions file's."""
    roster = roster_shown(site)
    if not roster.changeable:
        why = "in force is the sessions file that the server was given, and a part of a roster would take its place"
        hint = "take the sessions file into the store first"
        raise PlannerError.one("cannot be changed yet", "the roster", why, hint)
    return roster


def kind_of(name: str) -> EntryKind:
    """A kind by its name; 404 for any other."""
    if name not in KINDS:
        raise HTTPException(404)
    return KINDS[name]


def entry_path(kind: str, key: str = "") -> str:
    """Where an entry is looked at and changed."""
    return f"/roster/entry/{kind}" + (f"?{urlencode({'key': key})}" if key else "")


def affected(site: Site, roster: RosterShown, changes: Iterable[RosterChange]) -> list[str]:
    """Each placing from today on that rests on what the changes take away, in words."""
    first = site.day_here()
    placed = [(now, now.allocation) for now in site.store.lists(first, first + FAR) if now.allocation is not None]
    codes = {person.code: person.trainee_id or person.code for person in site.store.people()}
    lost: dict[str, list[str]] = {}
    for change in changes:
        entry = roster.entry(change.kind, change.key)
        if entry is None or entry.retired:
            continue
        for now, at in placed:
            if why := _lost(entry, change.document, at, codes):
                place = f"{now.case.in_words}, {at.day:%a} {day_words(at.day)}, {at.theatre}, number {at.place}"
                lost.setdefault(place, []).append(why)
    return [f"{place}: {', and '.join(dict.fromkeys(reasons))}" for place, reasons in lost.items()]


def _lost(entry: RosterEntry, after: Mapping[str, Any] | None, at: ListPlace, codes: Mapping[str, str]) -> str | None:
    """What a placing loses by a change of one entry, None for nothing."""
    if entry.kind == "session" and _is_in(entry.document, entry.key, at):
        if after is None:
            return f"session {entry.key} is no more"
        if not _is_in(after, entry.key, at):
            return f"session {entry.key} is on {after.get('day')} in {after.get('theatre')}"
        was_there, is_there = (at.supervisor in _listed(one, "supervisors") for one in (entry.document, after))
        return f"{at.supervisor} no longer supervises there" if was_there and not is_there else None
    named = at.supervisor if entry.kind == "supervisor" else codes.get(at.trainee or "", at.trainee)
    if entry.kind not in PEOPLE or named != entry.key:
        return None
    if after is None:
        return f"{entry.key} is no longer in the roster"
    was_away, is_away = (str(at.day) in _listed(one, "leave") for one in (entry.document, after))
    return f"{entry.key} is on leave that day" if is_away and not was_away else None


def _is_in(document: Mapping[str, Any], key: str, at: ListPlace) -> bool:
    same = str(document.get("day")) == str(at.day) and room_of(str(document.get("theatre"))) == room_of(at.theatre)
    return same and at.session in (None, key)


def _listed(document: Mapping[str, Any], name: str) -> Sequence[str]:
    value = document.get(name)
    return [str(one) for one in value] if isinstance(value, list) else []


def retired_with(roster: RosterShown, kind: str, key: str) -> list[RosterChange]:
    """The changes that take an entry out of the roster: a supervisor comes off the sessions that name them too."""
    entry = roster.entry(kind, key)
    if entry is None or entry.retired:
        raise HTTPException(404)
    changes = [RosterChange(kind, key, entry.number, None)]
    if kind == "supervisor":
        for session in roster.of("session"):
            named = _listed(session.document, "supervisors")
            if key in named:
                left = dict(session.document) | {"supervisors": [code for code in named if code != key]}
                changes.append(RosterChange("session", session.key, session.number, left))
    return changes
