"""What happened on the morning of a list: read from a file or a form, and the lists' world as it then is."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from planner import strict_yaml
from planner.claims import Day, Entry, Whole
from planner.errors import Fault, PlannerError
from planner.lists.instance import Instance, Key
from planner.lists.roster import KitSets, Session
from planner.rulebook import misfits
from planner.rulebook.references import nearest
from planner.rulebook.rulebook import Spot

LARGEST_FILE = 200_000


class Away(Entry):
    """A trainee or supervisor who cannot come on a day, and who may supervise in their sessions instead."""

    who: str
    day: Day
    instead: str | None = None
    because: str


class Changed(Entry):
    """A session that is lost, has other minutes or no anaesthetist, or misses a set of kit."""

    session: str
    lost: bool = False
    minutes: Annotated[Whole, Field(ge=30, le=720)] | None = None
    without_anaesthetist: bool = False
    sets: dict[str, Annotated[Whole, Field(ge=0)]] = {}
    because: str


class Cancelled(Entry):
    """A case that is not done that day."""

    case: str
    eye: str
    because: str


class Added(Entry):
    """A case that must be done on a day, in a session of it where one is named."""

    case: str
    eye: str
    day: Day
    session: str | None = None
    because: str


class Begun(Entry):
    """A case that is done or in hand: nothing about it changes any more."""

    case: str
    eye: str


class Happened(Entry):
    away: list[Away] = []
    changed: list[Changed] = []
    cancelled: list[Cancelled] = []
    added: list[Added] = []
    begun: list[Begun] = []


@dataclass(frozen=True)
class Aftermath:
    """The instance as it is now, with the cases that need a new place and why, and those that are off for good."""

    instance: Instance
    lost: frozenset[str]
    cancelled: dict[Key, str]
    added: dict[Key, Added]
    begun: frozenset[Key]
    days: frozenset[datetime.date]
    because: dict[str, str]  # by person and session


def read_happened(path: Path, instance: Instance) -> Happened:
    """Read a file of what happened. Raises PlannerError with every fault."""
    text = strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path))
    document = strict_yaml.read(text, str(path))
    spot = Spot(document)
    try:
        happened = Happened.model_validate(document.data)
    except ValidationError as error:
        raise PlannerError(list(misfits.faults_of(error, Happened, spot))) from None
    if faults := list(_unknown(happened, instance, spot)):
        raise PlannerError(faults)
    return happened


def _unknown(happened: Happened, instance: Instance, spot: Spot) -> Iterator[Fault]:
    people, supervisors = [*instance.trainees, *instance.supervisors], instance.supervisors
    for n, away in enumerate(happened.away):
        if away.who not in people:
            yield Fault(spot.at("away", n, "who"), f"nobody {away.who!r}", hint=nearest(away.who, people))
        if away.instead is not None and away.instead not in supervisors:
            told = nearest(away.instead, supervisors)
            yield Fault(spot.at("away", n, "instead"), f"no supervisor {away.instead!r}", hint=told)
    for n, changed in enumerate(happened.changed):
        if changed.session not in instance.sessions:
            told = nearest(changed.session, instance.sessions)
            yield Fault(spot.at("changed", n, "session"), f"no session {changed.session!r}", hint=told)
    groups: tuple[tuple[str, Iterable[Cancelled | Added | Begun]], ...] = (
        ("cancelled", happened.cancelled), ("added", happened.added), ("begun", happened.begun)
    )  # fmt: skip
    references = {reference for reference, _ in instance.cases}
    for name, listed in groups:
        for n, one in enumerate(listed):
            if (one.case, one.eye) not in instance.cases:
                what = f"no case {one.case!r} of the {one.eye} eye among those read"
                yield Fault(spot.at(name, n, "case"), what, hint=nearest(one.case, references))
    for n, added in enumerate(happened.added):
        if added.session is not None and added.session not in instance.sessions:
            told = nearest(added.session, instance.sessions)
            yield Fault(spot.at("added", n, "session"), f"no session {added.session!r}", hint=told)


def aftermath(instance: Instance, happened: Happened) -> Aftermath:
    """The world after what happened; every name is known to the instance."""
    sessions = dict(instance.sessions)
    trainees, supervisors = dict(instance.trainees), dict(instance.supervisors)
    because: dict[str, str] = {}
    days = {sessions[changed.session].day for changed in happened.changed}
    days |= {added.day for added in happened.added}
    for away in happened.away:
        days.add(away.day)
        because[away.who] = away.because
        if away.who in trainees:
            trainees[away.who] = replace(trainees[away.who], leave=trainees[away.who].leave | {away.day})
        if away.who in supervisors:
            held = supervisors[away.who]
            supervisors[away.who] = held.model_copy(update={"leave": [*held.leave, away.day]})
            if away.instead is not None:
                for name, session in sessions.items():
                    if session.day == away.day and away.who in session.supervisors:
                        sessions[name] = _with(session, supervisors=[*session.supervisors, away.instead])
    for changed in happened.changed:
        because[changed.session] = changed.because
        session = sessions[changed.session]
        if changed.minutes is not None:
            session = _with(session, minutes=changed.minutes)
        if changed.without_anaesthetist:
            session = _with(session, anaesthetist=False)
        for item, sets in changed.sets.items():
            held_kit = session.kit.get(item, KitSets(sets=sets))
            session = _with(session, kit=session.kit | {item: held_kit.model_copy(update={"sets": sets})})
        sessions[changed.session] = session
    return Aftermath(
        replace(
            instance, sessions=sessions, trainees=trainees, supervisors=supervisors,
            begun=instance.begun | {(one.case, one.eye) for one in happened.begun},
        ),
        frozenset(one.session for one in happened.changed if one.lost),
        {(one.case, one.eye): one.because for one in happened.cancelled},
        {(one.case, one.eye): one for one in happened.added},
        frozenset((one.case, one.eye) for one in happened.begun), frozenset(days), because,
    )  # fmt: skip


def _with(session: Session, **changed: object) -> Session:
    return session.model_copy(update=changed)
