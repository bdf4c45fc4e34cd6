"""Lists as an iCalendar (RFC 5545), published as RFC 5546 has it: an event a session, for where people keep their days.

No reference and no patient: calendars travel to telephones. Times are in UTC by the zone of the unit's file; without
one they float (RFC 5545, 3.3.5, form 1), and a theatre's morning begins at 08:30 wherever one reads of it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from icalendar import Calendar, Event

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.week import Week
from planner.local_time import in_utc
from planner.wording.people import without_steps

PRODUCT = "-//cataract-case-planner//theatre lists//EN"
LOOK_AGAIN = "A list can change: look at the printed one that morning."
TAKEN_OFF = "This list was taken off."


@dataclass(frozen=True)
class Slot:
    """When and where a session is held, by the clock on the unit's wall."""

    begins: datetime.datetime
    ends: datetime.datetime
    theatre: str

    @classmethod
    def of(cls, session: Session) -> Slot:
        return cls(*session.span, session.theatre)


@dataclass(frozen=True)
class Edition:
    """What was published of a session: how often, when last (UTC), for when and where, whether the list `stands` as it
    was published, and all `people` who were on any version."""

    number: int
    at: datetime.datetime
    stands: bool
    people: frozenset[str]
    slot: Slot


def calendar_of(
    instance: Instance,
    lists: Lists,
    stamp: datetime.datetime,
    person: str | None = None,
    editions: Mapping[str, Edition] | None = None,
) -> bytes:
    """The sessions that have a list, or those of one person, as iCalendar bytes; same input, same bytes.

    An event is known by its session wherever that is moved to. `stamp` (UTC) dates what is not as published; what
    is has the moment of publishing. A list once published for somebody that is theirs no longer is told as cancelled.
    """
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    week, editions = Week(instance, lists), editions or {}
    for name in dict.fromkeys([*instance.sessions, *editions]):
        session, edition = instance.sessions.get(name), editions.get(name)
        own = _own(week.list_of(name), person) if session is not None else []
        if own or (edition is not None and (person is None or person in edition.people)):
            slot = Slot.of(session) if session is not None else edition.slot if edition is not None else None
            assert slot is not None
            made.add_component(_event(name, slot, week, own, stamp, edition))
    return bytes(made.to_ical())


def _own(placings: Iterable[Placing], person: str | None) -> list[Placing]:
    return [placing for placing in placings if person is None or person in (placing.trainee, placing.supervisor)]


def _event(
    name: str, slot: Slot, week: Week, own: list[Placing], stamp: datetime.datetime, edition: Edition | None
) -> Event:
    event = Event()
    number, stands = (0, False) if edition is None else (edition.number, edition.stands)
    changed = edition.at if edition is not None and stands else stamp
    event.add("uid", f"{name}@theatre-lists.invalid")
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    # What is not yet published counts as the edition that it will be, so that a calendar that has the last takes it.
    event.add("sequence", number if stands or not number else number + 1)
    event.add("dtstart", in_utc(slot.begins))
    event.add("dtend", in_utc(slot.ends))
    event.add("location", slot.theatre)
    count = len(own)
    event.add("summary", f"Theatre list, {slot.theatre}: {count} case{'s' if count != 1 else ''}")
    event.add("description", "\n".join([*_lines(week, own), LOOK_AGAIN] if own else [TAKEN_OFF]))
    event.add("status", "CANCELLED" if not own else "CONFIRMED" if stands else "TENTATIVE")
    event.add("class", "PRIVATE")
    return event


def _lines(week: Week, placings: Iterable[Placing]) -> Iterable[str]:
    for placing in placings:
        case = week.case(placing)
        yield f"{placing.place}. {case.eye} eye, tier {case.tier}: {without_steps(week.team(placing))}"
