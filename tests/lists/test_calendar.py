"""The lists as iCalendar, held to what RFC 5545 asks and read back by the library."""

from __future__ import annotations

import datetime

from icalendar import Calendar
from lists.small_weeks import eye, key, session, week

from planner.lists.calendar import calendar_of
from planner.lists.instance import Lists, Placing

STAMP = datetime.datetime(2026, 11, 26, 9, 30, tzinfo=datetime.UTC)
HELD = Lists((Placing("one", 1, key("A-1"), "late", "trainer"), Placing("two", 1, key("B-22"), None, "consultant")))
WEEK = week([eye("A-1"), eye("B-22")], [session("one", theatre="theatre; 1, west wing \\ " + "é" * 40), session("two")])


def events(*args: object, **named: object) -> list[dict[str, object]]:
    made = calendar_of(WEEK, HELD, STAMP, *args, **named)  # type: ignore[arg-type]
    return [dict(event) for event in Calendar.from_ical(made).walk("VEVENT")]


def test_the_lines_are_as_rfc_5545_has_them() -> None:
    made = calendar_of(WEEK, HELD, STAMP)
    # 3.1: lines end in CRLF and are of 75 octets at most, without the break; nothing else ends one.
    assert made.endswith(b"\r\n") and b"\n" not in made.replace(b"\r\n", b"")
    assert max(map(len, made.split(b"\r\n"))) <= 75
    unfolded = made.replace(b"\r\n ", b"").decode()
    # 3.3.11: a comma, a semicolon and a backslash of a text are escaped.
    assert "LOCATION:theatre\\; 1\\, west wing \\\\ " + "é" * 40 in unfolded
    # 3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP once an event; 3.3.5: DTSTAMP in UTC.
    assert unfolded.count("PRODID:") == unfolded.count("VERSION:2.0") == 1
    assert unfolded.count("UID:") == unfolded.count("DTSTAMP:20261126T093000Z") == 2
    assert unfolded.startswith("BEGIN:VCALENDAR\r\n") and unfolded.endswith("END:VCALENDAR\r\n")


def test_times_float_and_are_the_session_s() -> None:
    first = events()[0]
    begins, ends = first["DTSTART"].dt, first["DTEND"].dt  # type: ignore[attr-defined]
    assert (begins, ends) == WEEK.sessions["one"].span and begins.tzinfo is None


def test_the_same_input_gives_the_same_bytes_and_no_reference_is_in_them() -> None:
    made = calendar_of(WEEK, HELD, STAMP)
    assert made == calendar_of(WEEK, HELD, STAMP)
    assert b"A-1" not in made and b"B-22" not in made and b"P-" not in made


def test_one_person_s() -> None:
    (only,) = events("late")
    assert only["UID"] == "one.2026-12-01@theatre-lists.invalid" and "late, trainer on site" in str(only["DESCRIPTION"])


def test_a_version_raises_the_sequence_and_an_emptied_session_is_cancelled() -> None:
    # RFC 5545, 3.8.7.4: SEQUENCE grows with each revision; 3.8.1.11: STATUS of an event.
    assert [str(event["STATUS"]) for event in events()] == ["TENTATIVE", "TENTATIVE"]
    before = Lists((*HELD.placings, Placing("two", 2, key("A-1"), "late", "trainer")))
    cancelled = calendar_of(WEEK, Lists(HELD.placings[:1]), STAMP, None, 3, before)
    states = {
        str(e["UID"])[:3]: (str(e["STATUS"]), int(e["SEQUENCE"])) for e in Calendar.from_ical(cancelled).walk("VEVENT")
    }
    assert states == {"one": ("CONFIRMED", 3), "two": ("CANCELLED", 3)}
