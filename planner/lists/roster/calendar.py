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
from planner.lists.roster.entries import KINDS, Part
from planner.lists.roster.fields import LONGEST_RANGE, cell_of, fields_of, read_cell
from planner.lists.roster.import_rows import LEAVE, PEOPLE, Aside, Given, Row
from planner.lists.roster.recurrence import days_of, rule_of
from planner.lists.roster.tables import MOST_ROWS
from planner.records.rows import RosterEntry

What = Literal["leave", "sessions"]
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


@dataclass
class Reader:
    """How a calendar is read: what it holds, the roster it meets, the unit's zone, and names that stand for codes.

    Days before `today` are passed over, and events that come again are followed for 400 days.
    """

    what: What
    held: Sequence[RosterEntry]
    zone: ZoneInfo | None
    today: datetime.date
    names: Mapping[str, str] = field(default_factory=dict)
    _walked: int = 0
    _past: int = 0
    _beyond: bool = False

    def read(self, content: bytes, name: str) -> Given:
        """Every event as rows. Raises PlannerError for what is no calendar, or larger than one of a unit."""
        events = _events(content, name)
        moved = {
            (str(event.get("uid")), _day_of(_moment(event, "recurrence-id")))
            for event in events
            if _is_one_of_many(event)
        }
        rows: list[Row] = []
        aside: list[Aside] = []
        for number, event in enumerate(events, 1):
            summary = " ".join(str(event.get("summary", "")).split())[:120]
            where = f"{name} event {number}" + (f" ({summary})" if summary else "")
            original = _original(event, summary)
            try:
                rows += self._rows(event, summary, where, original, moved)
            except (ValueError, OverflowError) as error:
                aside.append(Aside(where, str(error), original))
            if len(rows) > MOST_ROWS:
                raise PlannerError.one("is too long", name, f"it gives more than {MOST_ROWS:,} entries", "fewer weeks")
        return Given(name, COLUMNS, tuple(rows), tuple(aside), tuple(self._notes()))

    def _notes(self) -> Iterator[str]:
        if self._past:
            yield f"{self._past} event{'s' if self._past > 1 else ''} before {self.today} passed over"
        if self._beyond:
            yield f"events that come again are taken up to {self.today + WINDOW}; take the calendar again before then"

    def _rows(
        self,
        event: _Event,
        summary: str,
        where: str,
        original: tuple[str, ...],
        moved: set[tuple[str, datetime.date]],
    ) -> Iterator[Row]:
        wrong = [str(why) for _, why in getattr(event, "errors", [])]
        if wrong:
            raise ValueError(f"cannot be read: {wrong[0][:200]}")
        if _moment(event, "dtstart") is None:
            raise ValueError("has no day that can be read")
        if str(event.get("status", "")).upper() == "CANCELLED":
            raise ValueError("is cancelled; what it stood for is retired by hand, where its placings are seen first")
        begins, ends = _span(event)
        people = self._people(summary)
        if self.what == "leave" and len(people) != 1:
            said = f"names {', '.join(people)}" if people else "names no person of the roster"
            raise ValueError(f"{said}; the summary of an event of leave has one person's code")
        if self.what == "sessions" and not isinstance(begins, datetime.datetime):
            raise ValueError("has no hours; a session begins and ends at a time")
        if self.what == "sessions" and not str(event.get("location", "")).strip():
            raise ValueError("has no place; a session's place is its theatre")
        again = "rrule" in event or "rdate" in event
        for start in self._starts(event, begins, moved):
            end = start + (ends - begins)
            if self.what == "leave":
                days = [day.isoformat() for day in _days(self._local(start), self._local(end)) if day >= self.today]
                if days:
                    yield Row(where, original, LEAVE, people[0], away=tuple(days))
                else:
                    self._past += 1
            elif _day_of(self._local(start)) >= self.today:
                yield self._session(event, self._local(start), self._local(end), people, again, where, original)
            else:
                self._past += 1

    def _session(
        self,
        event: _Event,
        start: Any,
        end: Any,
        people: list[str],
        again: bool,
        where: str,
        original: tuple[str, ...],
    ) -> Row:
        fields = {about.name: about for about in fields_of(KINDS["session"].shape)}
        says: dict[str, Any] = {}
        for line in str(event.get("description", "")).splitlines():
            name, colon, cell = line.partition(":")
            if colon and name.strip() in fields and cell.strip():
                says[name.strip()] = read_cell(fields[name.strip()], cell)
        minutes = (end - start).total_seconds() / 60
        if minutes != int(minutes):
            raise ValueError("its hours are not whole minutes")
        at = {
            "day": f"{start:%Y-%m-%d}",
            "starts": f"{start:%H:%M}",
            "theatre": " ".join(str(event["location"]).split()),
        }
        known = next(
            (
                entry.key for entry in self.held
                if entry.kind == "session" and not entry.retired
                and all(str(entry.document.get(name)) == value for name, value in at.items())
            ),
            None,
        )  # fmt: skip
        key = str(says.get("id") or known or "-".join([at["day"], *_WORDS.findall(at["theatre"]), f"{start:%H%M}"]))
        if again and "id" in says:
            key = f"{key}-{at['day']}"
        supervisors = [code for code in people if ("supervisor", code) in self._codes]
        if supervisors and "supervisors" not in says:
            says["supervisors"] = supervisors
        return Row(where, original, "session", key, says | at | {"id": key, "minutes": int(minutes)})

    @property
    def _codes(self) -> dict[tuple[str, str], str]:
        people = [entry for entry in self.held if entry.kind in PEOPLE and not entry.retired]
        return {(entry.kind, entry.key): entry.key.casefold() for entry in people}

    def _people(self, summary: str) -> list[str]:
        """The people whom a summary names: by code as a word of it, or by a name that stands for one."""
        words = {word.casefold() for word in _WORDS.findall(summary)}
        text = f" {' '.join(_WORDS.findall(summary.casefold()))} "
        found = [code for (_, code), folded in self._codes.items() if folded in words]
        for name, code in self.names.items():
            said = " ".join(_WORDS.findall(name.casefold()))
            if said and f" {said} " in text and code not in found:
                found.append(code)
        return found

    def _starts(self, event: _Event, begins: Any, moved: set[tuple[str, datetime.date]]) -> Iterator[Any]:
        """When the event begins, each time that it comes, in its own zone."""
        if _is_one_of_many(event) or not ("rrule" in event or "rdate" in event):
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
            if (uid, day) not in moved:
                yield begins + (day - first) if not isinstance(begins, datetime.datetime) else _on(day, begins)

    def _local(self, moment: Any) -> Any:
        """A moment on the unit's clock, a day or a time without a zone as it is."""
        if not isinstance(moment, datetime.datetime) or moment.tzinfo is None:
            return moment
        if self.zone is None:
            raise ValueError("its hours have a zone, and the unit's file names none; write zone: there")
        return moment.astimezone(self.zone).replace(tzinfo=None)


def _is_one_of_many(event: _Event) -> bool:
    """Whether it is one time of an event that comes again, other than the rest."""
    return _moment(event, "recurrence-id") is not None


def _moment(event: _Event, name: str) -> Any:
    """The day or time of a part of an event, None where there is none that can be read."""
    try:
        held = event.get(name).dt
    except (AttributeError, ValueError):
        return None
    return held if isinstance(held, datetime.date) else None


def _on(day: datetime.date, begins: datetime.datetime) -> datetime.datetime:
    return datetime.datetime.combine(day, begins.time(), begins.tzinfo)


def _events(content: bytes, name: str) -> list[_Event]:
    hint = "export it again as .ics"
    if len(content) > LARGEST_CALENDAR:
        raise PlannerError.one(f"is larger than {LARGEST_CALENDAR:,} bytes", name, hint="the coming months alone")
    if content.upper().count(b"BEGIN:VEVENT") > MOST_EVENTS:
        raise PlannerError.one("is too long", name, f"more than {MOST_EVENTS:,} events", "the coming months alone")
    try:
        text = content.decode("utf-8-sig")
        found = Calendar.from_ical(text, multiple=True)
    except UnicodeDecodeError:
        raise PlannerError.one("is not UTF-8 text", name, hint=hint) from None
    except (ValueError, IndexError, KeyError, TypeError, AttributeError) as error:
        raise PlannerError.one("is no calendar that can be read", name, str(error)[:200], hint) from None
    events = [event for one in found for event in one.walk("VEVENT")]
    if not events:
        raise PlannerError.one("holds no event", name, hint=hint)
    return events


def _original(event: _Event, summary: str) -> tuple[str, ...]:
    when = [str(_moment(event, name) or "") for name in ("dtstart", "dtend")]
    return (summary, *when, str(event.get("location", ""))[:120])


def _span(event: _Event) -> tuple[Any, Any]:
    """Begin and end, as days or as times. Raises ValueError for an end that is none."""
    begins, ends = _moment(event, "dtstart"), _moment(event, "dtend")
    if "dtend" in event:
        if ends is None:
            raise ValueError("has an end that cannot be read")
    elif "duration" in event:
        ends = begins + event["duration"].dt
    else:
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
    last = (
        end - datetime.timedelta(microseconds=1)
        if isinstance(end, datetime.datetime)
        else end - datetime.timedelta(days=1)
    )
    first, last = _day_of(start), max(_day_of(last), _day_of(start))
    return [first + datetime.timedelta(days=later) for later in range((last - first).days + 1)]


def _day_of(value: Any) -> datetime.date:
    day: datetime.date = value.date() if isinstance(value, datetime.datetime) else value
    return day


def _dates(event: _Event, name: str) -> Iterator[Any]:
    held = event.get(name, [])
    for one in held if isinstance(held, list) else [held]:
        for value in one.dts:
            if not isinstance(value.dt, datetime.date):
                raise ValueError(f"{name.upper()} names no day that can be read")
            yield value.dt


def _until(until: Any, begins: Any) -> datetime.date | None:
    """The last day on which an event that comes again may begin."""
    if until is None:
        return None
    if not isinstance(until, datetime.datetime):
        return _day_of(until)
    if isinstance(begins, datetime.datetime):
        if until.tzinfo is not None and begins.tzinfo is not None:
            until = until.astimezone(begins.tzinfo)
        if until.time() < begins.time():
            return _day_of(until) - datetime.timedelta(days=1)
    return _day_of(until)


def sessions_calendar(parts: Iterable[Part], zone: ZoneInfo | None, stamp: datetime.datetime) -> bytes:
    """The sessions as iCalendar bytes, each with all that `Reader` needs to read it back. `stamp` is UTC."""
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    kind = KINDS["session"]
    own = ("day", "starts", "theatre", "minutes")
    for part in parts:
        if part.kind != kind.name:
            continue
        session = kind.shape.model_validate(part.document)
        begins, ends = session.span  # type: ignore[attr-defined]
        if zone is not None:
            # In UTC, so that nobody need know the zone's own rules.
            begins, ends = (one.replace(tzinfo=zone).astimezone(datetime.UTC) for one in (begins, ends))
        event = Event()
        event.add("uid", f"{part.key}@roster.invalid")
        event.add("dtstamp", stamp)
        event.add("dtstart", begins)
        event.add("dtend", ends)
        event.add("summary", f"Theatre session {part.key}")
        event.add("location", str(part.document["theatre"]))
        lines = [
            f"{about.name}: {cell_of(about, part.document[about.name])}"
            for about in fields_of(kind.shape)
            if about.name in part.document and about.name not in own
        ]
        event.add("description", "\n".join(lines))
        made.add_component(event)
    return bytes(made.to_ical())
