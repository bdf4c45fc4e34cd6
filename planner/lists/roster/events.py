"""Leave and sessions from an iCalendar (RFC 5545), and the sessions as one.

An event of leave names a person, by code or by a name that stands for one; each of its days is a whole day away. An
event of a session has its theatre as its place and its hours as its own; what else a session needs stands in its
description as `anaesthetist: yes`, a line a field. Hours with a zone are put on the clock of the unit's own zone.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from planner.errors import PlannerError
from planner.lists.roster.entries import KINDS, PEOPLE
from planner.lists.roster.fields import LONGEST_RANGE, cell_of, fields_of, read_cell
from planner.lists.roster.import_rows import LEAVE, ImportRow, ImportSource, RowSetAside
from planner.lists.roster.recurrence import days_of, rule_of
from planner.lists.roster.shapes import Session
from planner.lists.roster.tables import MOST_ROWS
from planner.records.rows import RosterEntry

Events = Literal["leave", "sessions"]  # what those of a calendar are
LARGEST_CALENDAR = 2_000_000
MOST_EVENTS = 2_000
# Days looked through for events that come again, over all of them: some seconds of work.
MOST_DAYS = 1_000_000
WINDOW = datetime.timedelta(days=400)
COLUMNS = ("event", "from", "to", "place")
PRODUCT = "-//cataract-case-planner//roster//EN"
# The library says of each part of an event that it may be any of thirty types; what is used of it is looked at here.
_Event = Any
_WORDS = re.compile(r"[^\s:,;()/]+")


class _NobodyNamedError(ValueError):
    """An event of leave whose summary names nobody of the roster."""


@dataclass
class CalendarReader:
    """How a calendar is read. Days before `today` are passed over; events that come again are followed for 400 days."""

    what: Events
    entries: Sequence[RosterEntry]
    zone: ZoneInfo | None
    today: datetime.date
    names: Mapping[str, str] = field(default_factory=dict)
    _walked: int = 0
    _past: int = 0
    _beyond: bool = False

    def read(self, content: bytes, name: str) -> ImportSource:
        """Every event as rows. Raises PlannerError for what is no calendar, or larger than one of a unit."""
        events = _events(content, name)
        moved = {
            (str(event.get("uid")), _day_of(instead))
            for event in events
            if (instead := _moment(event, "recurrence-id")) is not None
        }
        rows: list[ImportRow] = []
        aside: list[RowSetAside] = []
        for number, event in enumerate(events, 1):
            summary = " ".join(str(event.get("summary", "")).split())[:120]
            where = f"{name} event {number}" + (f" ({summary})" if summary else "")
            when = (str(_moment(event, part) or "") for part in ("dtstart", "dtend"))
            original = (summary, *when, str(event.get("location", ""))[:120])
            try:
                for kind, key, more in self._entries(event, summary, moved):
                    rows.append(ImportRow(where, original, kind, key, **more))
            except (ValueError, OverflowError) as error:
                aside.append(RowSetAside(where, str(error), original, isinstance(error, _NobodyNamedError)))
            if len(rows) > MOST_ROWS:
                raise PlannerError.one("is too long", name, f"it gives more than {MOST_ROWS:,} entries", "fewer weeks")
        return ImportSource(name, COLUMNS, tuple(rows), tuple(aside), tuple(self._notes()))

    def _notes(self) -> Iterator[str]:
        if self._past:
            yield f"{self._past} event{'s' if self._past > 1 else ''} before {self.today} passed over"
        if self._beyond:
            yield f"events that come again are taken up to {self.today + WINDOW}; take the calendar again before then"

    def _entries(
        self, event: _Event, summary: str, moved: set[tuple[str, datetime.date]]
    ) -> Iterator[tuple[str, str, dict[str, Any]]]:
        """Kind, key and words of an entry for each time the event comes. Raises ValueError for what cannot be read."""
        if wrong := [str(why) for _, why in getattr(event, "errors", [])]:
            raise ValueError(f"cannot be read: {wrong[0][:200]}")
        if _moment(event, "dtstart") is None:
            raise ValueError("has no day that can be read")
        if str(event.get("status", "")).upper() == "CANCELLED":
            raise ValueError("is cancelled; what it stood for is retired by hand, where its placings are seen first")
        begins, ends = _span(event)
        people = self._people(summary)
        if self.what == "leave" and len(people) != 1:
            said = f"names {', '.join(people)}" if people else "names no person of the roster"
            refused = ValueError if people else _NobodyNamedError
            raise refused(f"{said}; the summary of an event of leave has one person's code")
        if self.what == "sessions" and not isinstance(begins, datetime.datetime):
            raise ValueError("has no hours; a session begins and ends at a time")
        if self.what == "sessions" and not str(event.get("location", "")).strip():
            raise ValueError("has no place; a session's place is its theatre")
        for begin in self._starts(event, begins, moved):
            start, end = self._local(begin), self._local(begin + (ends - begins))
            days = [day.isoformat() for day in _days(start, end) if day >= self.today]
            if _day_of(start) < self.today if self.what == "sessions" else not days:
                self._past += 1
            elif self.what == "leave":
                yield LEAVE, people[0], {"away": tuple(days)}
            else:
                says = self._session(event, start, end, people)
                yield "session", says["id"], {"says": says}

    def _session(self, event: _Event, start: Any, end: Any, people: list[str]) -> dict[str, Any]:
        fields = {about.name: about for about in fields_of(KINDS["session"].shape)}
        says: dict[str, Any] = {}
        for line in str(event.get("description", "")).splitlines():
            name, colon, cell = line.partition(":")
            if colon and name.strip() in fields and cell.strip():
                says[name.strip()] = read_cell(fields[name.strip()], cell)
        minutes = (end - start).total_seconds() / 60
        if minutes != int(minutes):
            raise ValueError("its hours are not whole minutes")
        theatre = " ".join(str(event["location"]).split())
        at = {"day": f"{start:%Y-%m-%d}", "starts": f"{start:%H:%M}", "theatre": theatre}
        for entry in self._of("session"):
            if "id" not in says and all(str(entry.document.get(name)) == value for name, value in at.items()):
                says["id"] = entry.key
                break
        else:
            if _comes_again(event) and "id" in says:
                says["id"] = f"{says['id']}-{at['day']}"
        supervisors = [code for code in people if code in {entry.key for entry in self._of("supervisor")}]
        if supervisors:
            says.setdefault("supervisors", supervisors)
        key = "-".join([at["day"], *_WORDS.findall(theatre), f"{start:%H%M}"])
        return {"id": key} | says | at | {"minutes": int(minutes)}

    def _of(self, *kinds: str) -> list[RosterEntry]:
        return [entry for entry in self.entries if entry.kind in kinds and not entry.retired]

    def _people(self, summary: str) -> list[str]:
        """The people whom a summary names: by code as a word of it, or by a name that stands for one."""
        words = [word.casefold() for word in _WORDS.findall(summary)]
        found = [entry.key for entry in self._of(*PEOPLE) if entry.key.casefold() in words]
        for name, code in self.names.items():
            said = " ".join(_WORDS.findall(name.casefold()))
            if said and f" {said} " in f" {' '.join(words)} " and code not in found:
                found.append(code)
        return found

    def _starts(self, event: _Event, begins: Any, moved: set[tuple[str, datetime.date]]) -> Iterator[Any]:
        """When the event begins, each time that it comes, in its own zone."""
        if _moment(event, "recurrence-id") is not None or not _comes_again(event):
            yield begins
            return
        uid, first, last = str(event.get("uid")), _day_of(begins), self.today + WINDOW
        days = {first}
        if "rrule" in event:
            rules = event["rrule"]
            if isinstance(rules, list):
                raise ValueError("has several rules by which it comes again; enter its days one by one")
            rule = rule_of(rules)
            until = _until(rules.get("UNTIL", [None])[0], begins)
            self._beyond |= rule.count is None and (until is None or until > last)
            self._walked += max(0, (last - first).days)
            if self._walked > MOST_DAYS:
                raise ValueError("too many events come again; enter its days one by one")
            days |= set(days_of(rule, first, min(last, until) if until else last))
        days |= {_day_of(value) for value in _dates(event, "rdate")}
        days -= {_day_of(value) for value in _dates(event, "exdate")}
        for day in sorted(days):
            if (uid, day) not in moved and isinstance(begins, datetime.datetime):
                yield datetime.datetime.combine(day, begins.time(), begins.tzinfo)
            elif (uid, day) not in moved:
                yield day

    def _local(self, moment: Any) -> Any:
        """A moment on the unit's clock, a day or a time without a zone as it is."""
        if not isinstance(moment, datetime.datetime) or moment.tzinfo is None:
            return moment
        if self.zone is None:
            raise ValueError("its hours have a zone, and the unit's file names none; write zone: there")
        return moment.astimezone(self.zone).replace(tzinfo=None)


def _comes_again(event: _Event) -> bool:
    return "rrule" in event or "rdate" in event


def _moment(event: _Event, name: str) -> Any:
    """The day or time of a part of an event, None where there is none that can be read."""
    try:
        moment = event.get(name).dt
    except (AttributeError, ValueError):
        return None
    return moment if isinstance(moment, datetime.date) else None


def _events(content: bytes, name: str) -> list[_Event]:
    hint = "export it again as .ics"
    if len(content) > LARGEST_CALENDAR:
        raise PlannerError.one(f"is larger than {LARGEST_CALENDAR:,} bytes", name, hint="the coming months alone")
    if content.upper().count(b"BEGIN:VEVENT") > MOST_EVENTS:
        raise PlannerError.one("is too long", name, f"more than {MOST_EVENTS:,} events", "the coming months alone")
    try:
        calendars = Calendar.from_ical(content.decode("utf-8-sig"), multiple=True)
    except UnicodeDecodeError:
        raise PlannerError.one("is not UTF-8 text", name, hint=hint) from None
    except (ValueError, IndexError, KeyError, TypeError, AttributeError) as error:
        raise PlannerError.one("is no calendar that can be read", name, str(error)[:200], hint) from None
    events = [event for one in calendars for event in one.walk("VEVENT")]
    if not events:
        raise PlannerError.one("holds no event", name, hint=hint)
    return events


def _span(event: _Event) -> tuple[Any, Any]:
    """Begin and end, as days or as times. Raises ValueError for an end that is none."""
    begins, ends = _moment(event, "dtstart"), _moment(event, "dtend")
    if "dtend" in event and ends is None:
        raise ValueError("has an end that cannot be read")
    if "dtend" not in event and "duration" in event:
        ends = begins + event["duration"].dt
    elif "dtend" not in event:
        ends = begins if isinstance(begins, datetime.datetime) else begins + datetime.timedelta(days=1)
    if isinstance(begins, datetime.datetime) != isinstance(ends, datetime.datetime):
        raise ValueError("begins on a day and ends at a time, or the other way round")
    if isinstance(begins, datetime.datetime) and (begins.tzinfo is None) != (ends.tzinfo is None):
        raise ValueError("has a zone at one end and none at the other")
    if ends < begins:
        raise ValueError("ends before it begins")
    if _day_of(ends) - _day_of(begins) > datetime.timedelta(days=LONGEST_RANGE):
        raise ValueError(f"lasts more than {LONGEST_RANGE} days")
    return begins, ends


def _days(start: Any, end: Any) -> list[datetime.date]:
    """The days that a span touches; its end is not part of it."""
    first = _day_of(start)
    last = max(_day_of(end - end.resolution), first)
    return [first + datetime.timedelta(days=later) for later in range((last - first).days + 1)]


def _day_of(value: Any) -> datetime.date:
    day: datetime.date = value.date() if isinstance(value, datetime.datetime) else value
    return day


def _dates(event: _Event, name: str) -> Iterator[Any]:
    lists = event.get(name, [])
    for one in lists if isinstance(lists, list) else [lists]:
        for value in one.dts:
            if not isinstance(value.dt, datetime.date):
                raise ValueError(f"{name.upper()} names no day that can be read")
            yield value.dt


def _until(until: Any, begins: Any) -> datetime.date | None:
    """The last day on which an event that comes again may begin."""
    if isinstance(until, datetime.datetime) and isinstance(begins, datetime.datetime):
        if until.tzinfo is not None and begins.tzinfo is not None:
            until = until.astimezone(begins.tzinfo)
        if until.time() < begins.time():
            return _day_of(until) - datetime.timedelta(days=1)
    return None if until is None else _day_of(until)


def sessions_calendar(entries: Iterable[RosterEntry], zone: ZoneInfo | None, stamp: datetime.datetime) -> bytes:
    """The sessions as iCalendar bytes, each with all that `CalendarReader` needs to read it back. `stamp` is UTC."""
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    fields = [about for about in fields_of(Session) if about.name not in ("day", "starts", "theatre", "minutes")]
    for entry in entries:
        if entry.kind != "session":
            continue
        begins, ends = Session.model_validate(entry.document).span
        if zone is not None:
            # In UTC, so that nobody need know the zone's own rules.
            begins, ends = (one.replace(tzinfo=zone).astimezone(datetime.UTC) for one in (begins, ends))
        says = [(about, entry.document[about.name]) for about in fields if about.name in entry.document]
        event = Event()
        event.add("uid", f"{entry.key}@roster.invalid")
        event.add("dtstamp", stamp)
        event.add("dtstart", begins)
        event.add("dtend", ends)
        event.add("summary", f"Theatre session {entry.key}")
        event.add("location", str(entry.document["theatre"]))
        event.add("description", "\n".join(f"{about.name}: {cell_of(about, value)}" for about, value in says))
        made.add_component(event)
    return bytes(made.to_ical())
