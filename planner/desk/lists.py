"""The lists as they stand now: every place that the records hold, judged, and what of each session was published."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass
from functools import cached_property

from planner.desk.desk import Desk
from planner.lists.changes.differences import ListChange, of_people
from planner.lists.changes.versions import differs
from planner.lists.output.lookalikes import Clash, clashes
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.rule import Broken
from planner.lists.week.from_records import RecordedLists
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.week import Week
from planner.records.rows import ListVersion
from planner.wording.words import eye_words

FOR_PERSON = {"on": "on your list", "off": "off your list", "changed": "changed on your list"}


@dataclass(frozen=True)
class Publication:
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
class ListsNow:
    """The lists from today on. `seen` names exactly these places, so that a form tells what it was made from."""

    held: RecordedLists
    versions: dict[str, ListVersion]

    @property
    def instance(self) -> Instance:
        return self.held.instance

    @property
    def lists(self) -> Lists:
        return self.held.lists

    @cached_property
    def week(self) -> Week:
        return Week(self.instance, self.lists)

    @cached_property
    def verdict(self) -> Verdict:
        return check(self.instance, self.lists)

    @cached_property
    def clashes(self) -> tuple[Clash, ...]:
        return clashes(self.instance, self.lists)

    @cached_property
    def seen(self) -> str:
        numbers = sorted(now.allocation.id for now in self.held.now.values() if now.allocation is not None)
        return hashlib.sha256(f"{numbers} {sorted(self.held.locked)}".encode()).hexdigest()[:16]

    @property
    def sessions(self) -> list[Session]:
        """From today on, by day and hour."""
        coming = [one for one in self.instance.sessions.values() if one.day >= self.held.on]
        return sorted(coming, key=lambda one: (one.span[0], one.theatre))

    def running(self, day: datetime.date) -> list[Session]:
        """The sessions of a day that have a list, if the day is today: what is begun in them is asked."""
        return [one for one in self.week.sessions if one.day == day == self.held.on]

    def publication(self, session: str) -> Publication:
        version = self.versions.get(session)
        changed = differs(session, version.document, self.instance, self.lists) if version is not None else ()
        return Publication(version, changed)

    def broken(self, session: str) -> list[Broken]:
        return [one for one in self.verdict.broken if one.session == session]

    def asked(self, session: str) -> list[Broken]:
        return [one for one in self.verdict.asked if one.session == session]

    @cached_property
    def _known(self) -> set[tuple[str, str, str | None]]:
        return {(one.rule, one.session, one.case) for one in self.verdict.broken}

    def not_yet(self, broken: tuple[Broken, ...]) -> tuple[Broken, ...]:
        """Of what is broken, what is not broken now: the rest says nothing about a change."""
        return tuple(one for one in broken if (one.rule, one.session, one.case) not in self._known)

    def new_faults(self, lists: Lists) -> tuple[Broken, ...]:
        """What other lists break that is not broken now."""
        return self.not_yet(check(self.instance, lists).broken)

    def notices(self, session: str) -> dict[str, str]:
        """What each person is told of a list, by code, when it is published: what is new and what no longer theirs."""
        changed = self.publication(session).changes
        changed = changed or tuple(ListChange(one.case, "new", None, one) for one in self.week.list_of(session))
        title, told = self.instance.sessions[session].in_words, {}
        for name, cases in of_people(changed).items():
            lines = (f"{eye_words(*key)}: {FOR_PERSON[kind]}" for key, kind in cases.items())
            told[self.held.codes.get(name, name)] = f"{title} is published: {'; '.join(lines)}"
        return told


def lists_now(desk: Desk) -> ListsNow | None:
    """The lists by the roster in force; None where there is none. Raises PlannerError."""
    reader = desk.lists
    if reader is None:
        return None
    held = reader.recorded(desk.day_here())
    sessions = held.instance.sessions
    published = desk.store.published({session.day for session in sessions.values()})
    found = {name: published.get((session.day, name)) for name, session in sessions.items()}
    return ListsNow(held, {name: version for name, version in found.items() if version is not None})
