"""The roster's pages: a week of sessions with who is free, people, leave, targets, kit, patients' days, and limits."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from planner.documents.figures import day as day_words
from planner.lists.roster.entries import KINDS, PEOPLE, EntryKind, written
from planner.lists.roster.fields import EntryField, cell_of, fields_of, runs
from planner.lists.roster.shapes import Learner, Session, Supervisor
from planner.readings import read_day
from planner.records.roles import KEEPERS
from planner.web.roster.judged import RosterShown, entry_path, roster_shown
from planner.web.roster.words import kind_words, label
from planner.web.security.authorisation import Building, Visitor
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
WeekAsked = Annotated[str, Query(max_length=10)]
VIEWS = {
    "sessions": "Sessions", "people": "People", "leave": "Leave", "targets": "Targets", "kit": "Kit in the room",
    "patients": "Patients' days", "limits": "Limits and wishes",
}  # fmt: skip
TARGETS = ("target", "needs", "shown_tier")
FARTHEST = 366 * 20  # days from today of a week that is shown
NOT_FOR_PEOPLE = ("id", "leave", *TARGETS)


@router.get("/roster")
def roster(request: Request, visitor: Building, week: WeekAsked = "") -> Response:
    site = site_of(request)
    roster = roster_shown(site)
    first = site.day_here()
    coming = roster.coming(first)
    asked = read_day(week)
    near = asked is not None and abs((asked - first).days) < FARTHEST
    weeks = dict.fromkeys(_monday(session.day) for session in coming)
    begin = _monday(asked if asked and near else coming[0].day if coming else first)
    return _page(
        request, roster, "sessions", days=_days(site, roster, begin), week=f"Week of {begin.day} {begin:%B %Y}",
        before=str(begin - datetime.timedelta(days=7)), after=str(begin + datetime.timedelta(days=7)),
        later=[(str(one), f"{one.day} {one:%B}") for one in weeks if one != begin],
    )  # fmt: skip


@router.get("/roster/{view}")
def view(request: Request, visitor: Building, view: str) -> Response:
    site = site_of(request)
    roster = roster_shown(site)
    if view not in VIEWS or view == "sessions":
        raise HTTPException(404)
    shown: dict[str, Callable[[], dict[str, Any]]] = {
        "people": lambda: {"tables": [_people(site, roster, kind) for kind in PEOPLE]},
        "leave": lambda: {"absences": _absences(roster, site.day_here())},
        "targets": lambda: {"tables": [_table(roster, KINDS["trainee"], TARGETS)]},
        "kit": lambda: {"tables": [_kit(roster, site.day_here())]},
        "patients": lambda: {"tables": _others(roster)},
        "limits": lambda: {"tables": [_single(roster, kind) for kind in KINDS.values() if not kind.listed]},
    }
    return _page(request, roster, view, **shown[view]())


def _page(request: Request, roster: RosterShown, view: str, **values: Any) -> Response:
    visitor: Visitor = request.state.visitor
    return page(
        request, "roster.html", views=VIEWS.items(), view=view, roster=roster, gone=_gone(roster),
        may_keep=visitor.role in KEEPERS and roster.changeable, entry_path=entry_path,
        may_take=visitor.role in KEEPERS, people=[*roster.people["trainee"], *roster.people["supervisor"]],
        **values,
    )  # fmt: skip


def _monday(day: datetime.date) -> datetime.date:
    return day - datetime.timedelta(days=day.weekday())


def _days(site: Site, roster: RosterShown, begin: datetime.date) -> list[dict[str, object]]:
    end = begin + datetime.timedelta(days=6)
    week = [one for one in roster.coming(begin) if one.day <= end]
    placed = [now.allocation.session for now in site.store.lists(begin, end) if now.allocation is not None]
    found: list[dict[str, object]] = []
    for day in dict.fromkeys(session.day for session in week):
        of_day = [session for session in week if session.day == day]
        people: list[Learner | Supervisor] = [*roster.roster.trainees, *roster.roster.supervisors]
        away = [one.id for one in people if day in one.leave]
        lines = [_line(roster, session, of_day) | {"cases": placed.count(session.id)} for session in of_day]
        trainees = [one.id for one in roster.roster.trainees if day not in one.leave]
        found.append({"day": day, "lines": lines, "away": ", ".join(away), "trainees": ", ".join(trainees)})
    return found


def _line(roster: RosterShown, session: Session, of_day: list[Session]) -> dict[str, object]:
    """A session of the week, with who else could be there."""
    busy = {code for other in of_day if other.meets(session) for code in other.supervisors}
    free = [one.id for one in roster.roster.supervisors if session.day not in one.leave and one.id not in busy]
    kit = next(field for field in fields_of(KINDS["session"].shape) if field.name == "kit")
    return {"session": session, "kit": _in_words(kit, written(session.kit)), "free": ", ".join(free)}


@dataclass(frozen=True)
class EntryTable:
    """Entries in lines: each with its path and the words of its fields."""

    title: str
    kind: str
    add: bool
    columns: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[str, ...]], ...]
    nothing: str = "None entered yet."


def _table(roster: RosterShown, kind: EntryKind, names: Iterable[str], **first: Mapping[str, str]) -> EntryTable:
    """Every entry of a kind with these fields, after columns of other words by its key."""
    fields = [field for name in names for field in fields_of(kind.shape) if field.name == name]
    rows = []
    for entry in roster.of(kind.name):
        cells = [said.get(entry.key, "") for said in first.values()]
        cells += [_in_words(field, entry.document.get(field.name)) for field in fields]
        rows.append((entry.key, entry_path(kind.name, entry.key), tuple(cells)))
    return EntryTable(f"{kind_words(kind)}s", kind.name, True, (*first, *map(label, fields)), tuple(rows))


def _in_words(field: EntryField, value: Any) -> str:
    words = cell_of(field, value).replace(" + ", ", ")
    return words.replace("_", " ") if field.sort == "rows" else words


def _people(site: Site, roster: RosterShown, name: str) -> EntryTable:
    """What there is to know of people but leave and targets, which have pages of their own; a trainee's stage first."""
    kind = KINDS[name]
    names = [name for name in kind.shape.model_fields if name not in NOT_FOR_PEOPLE]
    if name == "supervisor" or site.unit is None:
        return _table(roster, kind, names)
    known = {trainee.id for trainee in site.unit.trainees}
    stages = dict.fromkeys(roster.people["trainee"], "not in the unit's file")
    for key in known.intersection(stages):
        stages[key] = site.rulebook.stages.shape(site.unit.stage_of(key, site.rulebook)).label
    return _table(roster, kind, names, Stage=stages)


def _kit(roster: RosterShown, since: datetime.date) -> EntryTable:
    coming = {one.id: f"{one.day:%a} {day_words(one.day)}, {one.theatre}" for one in roster.coming(since)}
    table = _table(roster, KINDS["session"], ["kit"], Session=coming)
    rows = tuple(row for key in coming for row in table.rows if row[0] == key)
    return replace(
        table, title="Counted kit of the coming sessions", add=False, rows=rows, nothing="No session is to come."
    )


def _others(roster: RosterShown) -> list[EntryTable]:
    """The entries of kinds that no other page shows, whole."""
    kinds = [kind for kind in KINDS.values() if kind.listed and kind.name not in (*PEOPLE, "session")]
    return [_table(roster, kind, [f for f in kind.shape.model_fields if f not in kind.identity]) for kind in kinds]


def _single(roster: RosterShown, kind: EntryKind) -> EntryTable:
    """Limits, or wishes: a line a field, what is said of it or what holds without."""
    entry = next(iter(roster.of(kind.name)), None)
    document = entry.document if entry else {}
    rows = []
    for field in fields_of(kind.shape):
        default = kind.shape.model_fields[field.name].default
        without = f"{default:g}, as usual" if isinstance(default, float) else "as the rulebook says"
        said = _in_words(field, document.get(field.name))
        rows.append((label(field), f"{entry_path(kind.name)}#{field.name}", (said or without,)))
    return EntryTable(kind_words(kind), kind.name, False, ("In force",), tuple(rows))


def _absences(roster: RosterShown, since: datetime.date) -> list[dict[str, str]]:
    """The runs of days on which somebody is away."""
    found = []
    for kind, people in (("trainee", roster.roster.trainees), ("supervisor", roster.roster.supervisors)):
        for person in people:
            for run in runs(sorted({day for day in person.leave if day >= since})):
                words = day_words(run[0]) if len(run) == 1 else f"{day_words(run[0])} to {day_words(run[-1])}"
                days = {"first": str(run[0]), "last": str(run[-1]), "words": words}
                found.append({"who": person.id, "kind": kind} | days)
    return sorted(found, key=lambda one: (one["first"], one["who"]))


def _gone(roster: RosterShown) -> list[tuple[str, str]]:
    """Retired entries, which can be brought back."""
    retired = [entry for entry in roster.entries if entry.retired and entry.kind in KINDS]
    return [(KINDS[entry.kind].in_words(entry.key), entry_path(entry.kind, entry.key)) for entry in retired]
