"""Lists as an iCalendar (RFC 5545): an event a session, so that people see them where they keep their days.

No reference and no patient: calendars travel to telephones. Times float (RFC 5545, 3.3.5, form 1): the unit's clock,
since no file says its time zone, and a theatre's morning begins at 08:30 wherever one reads of it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from icalendar import Calendar, Event

from planner.lists.instance import Instance, Lists, Placing
from planner.lists.roster import Session
from planner.lists.week import Week

PRODUCT = "-//cataract-case-planner//theatre lists//EN"
LOOK_AGAIN = "A list can change: look at the printed one that morning."


def calendar_of(
    instance: Instance,
    lists: Lists,
    stamp: datetime.datetime,
    person: str | None = None,
    published: int | None = None,
    before: Lists | None = None,
) -> bytes:
    """The sessions that have a list, or those of one person, as iCalendar bytes; same input, same bytes.

    `stamp` (UTC) is when it was made. `published` is the version's number: without one every event is tentative. A
    session that `before` had a list for and `lists` has not is told as cancelled.
    """
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    week = Week(instance, lists)
    had = (
        {p.session for p in before.placings if person is None or person in (p.trainee, p.supervisor)}
        if before
        else set()
    )
    for session in instance.sessions.values():
        own = [p for p in week.list_of(session.id) if person is None or person in (p.trainee, p.supervisor)]
        if own or session.id in had:
            made.add_component(_event(week, session, own, stamp, published))
    return bytes(made.to_ical())


def _own(placings: Iterable[Placing], person: str | None) -> list[Placing]:
    return [placing for placing in placings if person is None or person in (placing.trainee, placing.supervisor)]


def _event(week: Week, session: Session, own: list[Placing], stamp: datetime.datetime, published: int | None) -> Event:
    event = Event()
    begins, ends = session.span
    event.add("uid", f"{session.id}.{session.day}@theatre-lists.invalid")
    event.add("dtstamp", stamp)
    event.add("sequence", published or 0)
    event.add("dtstart", begins)
    event.add("dtend", ends)
    event.add("location", session.theatre)
    count = len(own)
    event.add("summary", f"Theatre list, {session.theatre}: {count} case{'s' if count != 1 else ''}")
    event.add("description", "\n".join([*_lines(week, own), LOOK_AGAIN]))
    event.add("status", "CANCELLED" if not own else "CONFIRMED" if published else "TENTATIVE")
    event.add("class", "PRIVATE")
    return event


def _lines(week: Week, placings: Iterable[Placing]) -> Iterable[str]:
    for placing in placings:
        case = week.case(placing)
        mode = (week.mode_served(placing) or week.supervision(placing).mode).replace("-", " ")
        who = placing.supervisor if placing.trainee is None else f"{placing.trainee}, {placing.supervisor} {mode}"
        yield f"{placing.place}. {case.eye} eye, tier {case.tier}: {who}"
