"""The lists as the records hold them, judged: what the organiser's pages show and change."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass
from functools import cached_property
from urllib.parse import quote

from starlette.exceptions import HTTPException

from planner.lists.changes.differences import ListChange
from planner.lists.changes.versions import differs
from planner.lists.output.lookalikes import Clash, clashes
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.people import supervisor_is_free, trainee_is_free
from planner.lists.rules.rule import Broken
from planner.lists.week.from_records import Held
from planner.lists.week.instance import Key, Lists
from planner.lists.week.week import Week
from planner.records.rows import ListVersion
from planner.web.server.site import Site


@dataclass(frozen=True)
class Standing:
    """What of a session was published, and how it differs now."""

    version: ListVersion | None
    changes: tuple[ListChange, ...]

    @property
    def words(self) -> str:
        if self.version is None:
            return "not published"
        told = f"published, version {self.version.number}"
        count = len(self.changes)
        return f"{told}; {count} change{'s' if count != 1 else ''} since" if count else told


@dataclass(frozen=True)
class State:
    """The lists from today on. `seen` names exactly these places, so that a form tells what it was made from."""

    held: Held
    versions: dict[str, ListVersion]

    @property
    def lists(self) -> Lists:
        return self.held.lists

    @cached_property
    def week(self) -> Week:
        return Week(self.held.instance, self.held.lists)

    @cached_property
    def verdict(self) -> Verdict:
        return check(self.held.instance, self.held.lists)

    @cached_property
    def clashes(self) -> tuple[Clash, ...]:
        return clashes(self.held.instance, self.held.lists)

    @cached_property
    def seen(self) -> str:
        numbers = sorted(now.allocation.id for now in self.held.now.values() if now.allocation is not None)
        return hashlib.sha256(f"{numbers} {sorted(self.held.locked)}".encode()).hexdigest()[:16]

    @property
    def sessions(self) -> list[Session]:
        """From today on, by day and hour."""
        coming = [one for one in self.held.instance.sessions.values() if one.day >= self.held.on]
        return sorted(coming, key=lambda one: (one.span[0], one.theatre))

    def running(self, day: datetime.date) -> list[Session]:
        """The sessions of a day that have a list, if the day is today: what is begun in them is asked."""
        return [one for one in self.week.sessions if one.day == day == self.held.on]

    def standing(self, session: str) -> Standing:
        version = self.versions.get(session)
        return Standing(
            version, () if version is None else differs(session, version.document, self.held.instance, self.lists)
        )

    def broken(self, session: str) -> list[Broken]:
        return [one for one in self.verdict.broken if one.session == session]

    def asked(self, session: str) -> list[Broken]:
        return [one for one in self.verdict.asked if one.session == session]

    def case(self, reference: str, eye: str) -> Key:
        """A case of these lists or waiting for them; 404 for any other."""
        if (reference, eye) not in self.held.instance.cases:
            raise HTTPException(404)
        return reference, eye

    def session(self, name: str) -> Session:
        session = self.held.instance.sessions.get(name)
        if session is None:
            raise HTTPException(404)
        return session


def has_sessions(site: Site) -> bool:
    return site.lists is not None


def state_of(site: Site) -> State:
    """The lists as they stand now; 404 where no roster is in force."""
    reader = site.lists
    if reader is None:
        raise HTTPException(404)
    held = reader.held(site.day_here())
    published = site.store.published({session.day for session in held.instance.sessions.values()})
    found = {name: published.get((session.day, name)) for name, session in held.instance.sessions.items()}
    return State(held, {name: version for name, version in found.items() if version is not None})


def session_path(session: str, page: str = "") -> str:
    """The address of a session's list, or of one of its pages."""
    return f"/lists/session/{quote(session, safe='')}" + (f"/{page}" if page else "")


def needed_at_once(state: State, code: str) -> list[str]:
    """Where somebody is asked for in two rooms at one time, in the checker's words."""
    of_people = (supervisor_is_free.id, trainee_is_free.id)
    return [one.says for one in state.verdict.broken if one.rule in of_people and code in one.people]
