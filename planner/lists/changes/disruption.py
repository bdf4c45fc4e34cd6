"""What happened on the morning of a list, and what the time is: read from a file, or given by a form."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from planner import strict_yaml
from planner.claims import Day, Entry, Whole
from planner.errors import Fault, PlannerError
from planner.lists.roster.shapes import Clock, Session, SessionMinutes
from planner.lists.week.instance import Instance, Key
from planner.rulebook.references import nearest, unknown
from planner.rulebook.rulebook import Spot
from planner.rulebook.validation_errors import read_as

LARGEST_FILE = 200_000
NO_DAY = "what happened is of more than one day, or of none"


class PersonAway(Entry):
    """A trainee or supervisor who cannot come on a day, and who may supervise in their sessions instead."""

    who: str
    day: Day
    instead: str | None = None
    because: str


class SessionChange(Entry):
    """A session that is lost, has other minutes or no anaesthetist, or misses a set of kit."""

    session: str
    lost: bool = False
    minutes: SessionMinutes | None = None
    without_anaesthetist: bool = False
    sets: dict[str, Annotated[Whole, Field(ge=0)]] = {}
    because: str


class NamedCase(Entry):
    """One of the cases read, by its reference and eye."""

    case: str
    eye: str

    @property
    def key(self) -> Key:
        return self.case, self.eye


class CaseCancelled(NamedCase):
    """A case that is not done that day."""

    because: str


class CaseAdded(NamedCase):
    """A case that must be done on a day, in a session of it where one is named."""

    day: Day
    session: str | None = None
    because: str


class CaseBegun(NamedCase):
    """A case that is done or in hand: nothing about it changes. `until` is when it ended, or is expected to."""

    until: Clock | None = None


class Disruption(Entry):
    """`now` is the time of day on the day `on`; without `on`, on the one day that the rest is about."""

    on: Day | None = None
    now: Clock | None = None
    away: list[PersonAway] = []
    changed: list[SessionChange] = []
    cancelled: list[CaseCancelled] = []
    added: list[CaseAdded] = []
    begun: list[CaseBegun] = []

    @property
    def days(self) -> set[datetime.date]:
        """The days that are named."""
        named = {away.day for away in self.away} | {added.day for added in self.added}
        return named | {self.on} if self.on else named

    def at(self, sessions: Mapping[str, Session]) -> datetime.datetime | None:
        """Day and time now, where the time is told and the day is certain."""
        days = {self.on} if self.on else self.days | {sessions[one.session].day for one in self.changed}
        if self.now is None or len(days) != 1:
            return None
        return datetime.datetime.combine(next(iter(days)), self.now)


def timed(disruption: Disruption, now: str | None, instance: Instance) -> Disruption:
    """The same at another time of day, `now` as HH:MM. Raises PlannerError for no time, or one without its day."""
    if now is None:
        return disruption
    try:
        timely = Disruption.model_validate({**disruption.model_dump(), "now": now})
    except ValidationError:
        raise PlannerError.one(f"{now!r} is not a time of day", "--now", hint="write it like 08:30") from None
    if timely.at(instance.sessions) is None:
        raise PlannerError.one("a time without its day", "--now", NO_DAY, "name the day in the file, `on: 2026-12-01`")
    return timely


def read_disruption(path: Path, instance: Instance) -> Disruption:
    """Read a file of what happened. Raises PlannerError with every fault."""
    disruption, spot = read_as(Disruption, strict_yaml.read_file(path, str(path), LARGEST_FILE))
    if faults := [*_unknown(disruption, instance, spot), *_untimely(disruption, instance, spot)]:
        raise PlannerError(faults)
    return disruption


def _unknown(disruption: Disruption, instance: Instance, spot: Spot) -> Iterator[Fault]:
    people = [*instance.trainees, *instance.supervisors]
    for n, away in enumerate(disruption.away):
        if away.who not in people:
            yield spot.fault(("away", n, "who"), f"nobody {away.who!r}", hint=nearest(away.who, people))
        yield from unknown(spot, ("away", n, "instead"), "supervisor", away.instead, instance.supervisors)
    for n, changed in enumerate(disruption.changed):
        yield from unknown(spot, ("changed", n, "session"), "session", changed.session, instance.sessions)
    references = {reference for reference, _ in instance.cases}
    for name in ("cancelled", "added", "begun"):
        for n, one in enumerate(getattr(disruption, name)):
            if one.key not in instance.cases:
                what = f"no case {one.case!r} of the {one.eye} eye among those read"
                yield spot.fault((name, n, "case"), what, hint=nearest(one.case, references))
    for n, added in enumerate(disruption.added):
        yield from unknown(spot, ("added", n, "session"), "session", added.session, instance.sessions)


def _untimely(disruption: Disruption, instance: Instance, spot: Spot) -> Iterator[Fault]:
    """A time without its day, and what is said of days that are past."""
    known = all(changed.session in instance.sessions for changed in disruption.changed)
    if disruption.now is not None and known and disruption.at(instance.sessions) is None:
        yield spot.fault(("now",), "a time without its day", NO_DAY, "name the day it is, `on: 2026-12-01`")
    if disruption.on is None or not known:
        return
    named = [("away", n, "day", one.day) for n, one in enumerate(disruption.away)]
    named += [("added", n, "day", one.day) for n, one in enumerate(disruption.added)]
    of_sessions = [instance.sessions[one.session].day for one in disruption.changed]
    named += [("changed", n, "session", day) for n, day in enumerate(of_sessions)]
    for name, n, key, day in named:
        if day < disruption.on:
            what, hint = f"{day} is past", "leave it out, or another day"
            yield spot.fault((name, n, key), what, f"it is {disruption.on}", hint)
