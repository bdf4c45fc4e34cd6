"""The lists as iCalendar, held to what RFC 5545 asks and read back by the library."""

from __future__ import annotations

import datetime
from zoneinfo import ZoneInfo

from icalendar import Calendar
from lists.small_weeks import THURSDAY, TUESDAY, eye, key, session, week

from planner.lists.changes.versions import editions_of
from planner.lists.output.calendar import TAKEN_OFF, Edition, Slot, calendar_of
from planner.lists.week.instance import Lists, Placing
from planner.local_time import in_zone
from planner.records.rows import ListVersion

PUBLISHED = datetime.datetime(2026, 11, 25, 16, 0, tzinfo=datetime.UTC)
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
    assert only["UID"] == "one@theatre-lists.invalid" and "late, trainer on site" in str(only["DESCRIPTION"])


def edition(
    number: int, stands: bool = True, people: tuple[str, ...] = ("late", "trainer"), name: str = "one"
) -> Edition:
    return Edition(number, PUBLISHED, stands, frozenset(people), Slot.of(WEEK.sessions[name]))


def test_a_version_raises_the_sequence_and_an_emptied_session_is_cancelled() -> None:
    # RFC 5545, 3.8.7.4: SEQUENCE grows with each revision; 3.8.1.11: STATUS of an event; RFC 5546, 3.2.1: PUBLISH.
    assert [str(event["STATUS"]) for event in events()] == ["TENTATIVE", "TENTATIVE"]
    kept = Lists(HELD.placings[:1])
    made = calendar_of(WEEK, kept, STAMP, None, {"one": edition(3), "two": edition(2, False, name="two")})
    states = {
        str(e["UID"])[:3]: (str(e["STATUS"]), int(e["SEQUENCE"]), e["DTSTAMP"].dt, e["LAST-MODIFIED"].dt)
        for e in Calendar.from_ical(made).walk("VEVENT")
    }
    assert states == {
        "one": ("CONFIRMED", 3, PUBLISHED, PUBLISHED),
        # Taken off, and not yet published so: later than the edition that people have.
        "two": ("CANCELLED", 3, STAMP, STAMP),
    }


def test_a_moved_session_is_the_same_event_later() -> None:
    """RFC 5545, 3.8.4.7 and RFC 5546, 2.1.5: one UID, and a greater SEQUENCE, or the same and a later DTSTAMP."""
    moved = week([eye("A-1"), eye("B-22")], [session("one", day=THURSDAY, starts="13:30"), session("two")])
    first = events(None, {"one": edition(1)})[0]
    made = calendar_of(moved, HELD, STAMP, None, {"one": edition(1, stands=False)})
    second = next(dict(event) for event in Calendar.from_ical(made).walk("VEVENT"))
    assert first["UID"] == second["UID"]
    assert second["DTSTART"].dt.date() == THURSDAY and first["DTSTART"].dt.date() != THURSDAY  # type: ignore[attr-defined]
    assert int(second["SEQUENCE"]) > int(first["SEQUENCE"])  # type: ignore[call-overload]


def test_whoever_was_taken_off_is_told_so_and_nobody_else() -> None:
    known = {"one": edition(2, people=("late", "early", "trainer"))}
    (off,) = events("early", known)
    assert (str(off["STATUS"]), str(off["DESCRIPTION"])) == ("CANCELLED", TAKEN_OFF)
    assert events("learner", known) == [] and str(events("late", known)[0]["STATUS"]) == "CONFIRMED"


def test_a_session_that_is_held_no_more_is_cancelled_where_it_stood() -> None:
    slot = Slot(datetime.datetime(2026, 12, 8, 8, 30), datetime.datetime(2026, 12, 8, 12, 30), "theatre 9")
    (last,) = [e for e in events(None, {"lost": Edition(1, PUBLISHED, False, frozenset({"late"}), slot)})][-1:]
    assert (str(last["STATUS"]), str(last["LOCATION"])) == ("CANCELLED", "theatre 9")
    assert last["DTSTART"].dt == slot.begins  # type: ignore[attr-defined]


def test_by_the_unit_s_clock_times_are_utc() -> None:
    summer = datetime.date(2026, 7, 7)
    days = week([eye("A-1")], [session("one"), session("two", day=summer)])
    held = Lists((Placing("one", 1, key("A-1"), None, "consultant"), Placing("two", 1, key("A-1"), None, "consultant")))
    with in_zone(ZoneInfo("Europe/Paris")):
        made = calendar_of(days, held, STAMP)
    # Half past eight in winter an hour ahead of UTC, in summer two.
    assert b"DTSTART:20261201T073000Z" in made and b"DTSTART:20260707T063000Z" in made


def test_editions_count_over_the_days_of_a_moved_session() -> None:
    """A session moved by a day starts anew at version 1 in the records, and still has been published twice."""

    def version(number: int, day: datetime.date, starts: str, *rows: Placing) -> ListVersion:
        shown = [
            {"place": p.place, "case": p.case[0], "eye": p.case[1], "trainee": p.trainee, "supervisor": p.supervisor}
            for p in rows
        ]
        document = {"rows": shown, "session_minutes": 240, "starts": starts, "theatre": "one"}
        at = f"2026-11-2{number}T16:00:00.500000Z"
        return ListVersion(number, at, "organiser-1", day, "one", 1, document, "")

    plain = week([eye("A-1")], [session("one")])
    held = Lists((Placing("one", 1, key("A-1"), "late", "trainer"),))
    first = version(1, TUESDAY - datetime.timedelta(7), "08:30", Placing("one", 1, key("A-1"), "early", "trainer"))
    second = version(2, TUESDAY, "08:30", *held.placings)
    made = editions_of([second, first], plain, held, TUESDAY)["one"]
    assert (made.number, made.stands, made.at.day) == (2, True, 22)
    assert made.people == {"late", "trainer"}, "who was on it in a week that is over is told nothing"
    for other in (version(2, TUESDAY, "09:00", *held.placings), version(2, TUESDAY, "08:30")):
        assert not editions_of([first, other], plain, held, TUESDAY)["one"].stands
    lost = week([eye("A-1")], [session("two")])
    gone = editions_of([first, second], lost, Lists(()), TUESDAY)["one"]
    assert not gone.stands and gone.slot.begins == datetime.datetime(2026, 12, 1, 8, 30)
