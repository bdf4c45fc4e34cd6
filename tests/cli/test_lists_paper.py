"""What the organiser prints, sends on and mends: `planner lists brief | week | calendar | table | repair`."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran
from icalendar import Calendar
from pypdf import PdfReader

LISTS = Path(__file__).parents[2] / "demo_cases" / "lists"
GIVEN = ["--cases", LISTS / "pool.csv", "--unit", LISTS.parent / "unit.yaml", "--with", LISTS / "sessions.yaml"]
WEEK = LISTS / "first-week.yaml"
Planner = Callable[..., Ran]


def test_brief_for_one_session_and_for_all(planner: Planner, folder: Path) -> None:
    ran = planner("lists", "brief", WEEK, *GIVEN, "--session", "tue-1-a", "-o", "one.pdf")
    assert (ran.code, ran.out, ran.err) == (0, "", "wrote one.pdf: 1 list with team brief\n")
    assert planner("lists", "brief", WEEK, *GIVEN, "-o", "both.pdf").code == 0
    text = " ".join(PdfReader("both.pdf").pages[0].extract_text().split())
    assert "Tuesday 1 December 2026" in text and "5 cases, 180 of 240 min" in text
    wrong = planner("lists", "brief", WEEK, *GIVEN, "--session", "tue-1-c")
    assert wrong.code == 1 and "no list for session 'tue-1-c'" in wrong.err and "tue-1-" in wrong.err


def test_changed_rows_are_marked_since_an_earlier_version(planner: Planner, folder: Path) -> None:
    later = folder / "later.yaml"
    later.write_text(WEEK.read_text("utf-8").replace("case: L-404, eye: left", "case: L-402, eye: left"), "utf-8")
    given = ("--session", "tue-1-a", "--since", WEEK, "--version-line", "Version 2.", "-o", "new.pdf")
    assert planner("lists", "brief", later, *GIVEN, *given).code == 0
    text = " ".join(PdfReader("new.pdf").pages[0].extract_text().split())
    assert "NEW" in text and "Version 2." in text
    assert "Taken off this list since the last version: L-404, left eye" in text


def test_week_calendar_and_table(planner: Planner, folder: Path) -> None:
    assert planner("lists", "week", WEEK, *GIVEN).err == "wrote week.pdf: 10 cases placed, 38 waiting\n"
    text = " ".join(sheet.extract_text() for sheet in PdfReader("week.pdf").pages)
    assert text.count("Week of ") == 4 and "Waiting for a place" in text
    assert planner("lists", "calendar", WEEK, *GIVEN, "--for", "trainee-2", "--published", "3").code == 0
    [event] = Calendar.from_ical(Path("lists.ics").read_bytes()).walk("VEVENT")
    assert (str(event["STATUS"]), int(event["SEQUENCE"])) == ("CONFIRMED", 3)
    nobody = planner("lists", "calendar", WEEK, *GIVEN, "--for", "trainee-22")
    assert nobody.code == 1 and "nobody 'trainee-22'" in nobody.err and "trainee-2" in nobody.err
    rows = list(csv.DictReader(io.StringIO(planner("lists", "table", WEEK, *GIVEN).out)))
    assert [row["order"] for row in rows] == ["1", "2", "3", "4", "5"] * 2


def test_the_morning_of_the_demonstration(planner: Planner, folder: Path) -> None:
    ran = planner("lists", "repair", WEEK, *GIVEN, "--morning", LISTS / "morning.yaml", "-o", "now.yaml", "--json")
    data = json.loads(ran.out)
    assert ran.code == 0 and data["verdict"]["stands"]
    assert {one["rule"] for one in data["broken"]} == {"supervisor-fits"}
    kinds = {one["case"][0]: one["kind"] for one in data["changes"]}
    assert kinds["L-412"] == "new" and "L-431" not in kinds
    assert [off["case"][0] for off in data["off"]] == ["L-405"]
    assert data["proved_smallest"] and data["measure"]["off"] == 0
    # What was written stands by the checker's own command.
    assert planner("lists", "check", "now.yaml", *GIVEN).code in (0, 1)


def test_the_first_line_says_who_loses_a_place(planner: Planner, folder: Path) -> None:
    morning = ("lists", "repair", WEEK, *GIVEN, "--morning", LISTS / "morning.yaml")
    ran = planner(*morning)
    assert ran.out.splitlines()[0].startswith("Nobody else loses a place.")
    assert "trainer-1 is away on 1 December 2026 (ill)" in ran.out and "leave" not in ran.out
    assert "As of 08:50 on Tue 2026-12-01" in ran.out and "sessions.yaml" not in ran.out
    # The same told so late that not every case can be done: who loses a place stands first.
    late = planner(*morning, "--now", "11:15")
    assert "lose their place: L-" in late.out.splitlines()[0] and "As of 11:15" in late.out
    assert "would be done by" in late.out and "counts as not begun" in late.out
    for now, said in (("11", "is not a time of day"), ("25:00", "is not a time of day")):
        wrong = planner(*morning, "--now", now)
        assert wrong.code == 1 and said in wrong.err and wrong.out == ""


def test_a_time_has_its_day(planner: Planner, folder: Path) -> None:
    (folder / "morning.yaml").write_text("cancelled:\n  - {case: L-405, eye: right, because: fever}\n", "utf-8")
    wrong = planner("lists", "repair", WEEK, *GIVEN, "--morning", "morning.yaml", "--now", "09:00")
    assert wrong.code == 1 and "a time without its day" in wrong.err and "on: 2026-12-01" in wrong.err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("away:\n  - {who: trainer-9, day: 2026-12-01, because: ill}\n", "nobody 'trainer-9'"),
        ("cancelled:\n  - {case: L-405, eye: left, because: ill}\n", "no case 'L-405' of the left eye"),
        ("cancelled:\n  - {case: L-405, eye: right}\n", "because"),
        ("changed:\n  - {session: tue-1-z, lost: yes, because: no water}\n", "no session 'tue-1-z'"),
        ("changed:\n  - {session: tue-1-a, minutes: 5, because: late}\n", "minutes"),
        ("sick: []\n", "sick"),
        ("now: 9\non: 2026-12-01\n", "not a time of day"),
        ("now: 09:00\n", "a time without its day"),
        ("on: 2026-12-02\naway:\n  - {who: trainer-1, day: 2026-12-01, because: ill}\n", "2026-12-01 is past"),
    ],
)
def test_a_morning_that_cannot_be_read(planner: Planner, folder: Path, text: str, said: str) -> None:
    (folder / "morning.yaml").write_text(text, "utf-8")
    ran = planner("lists", "repair", WEEK, *GIVEN, "--morning", "morning.yaml")
    assert ran.code == 1 and ran.out == "" and said in ran.err and "morning.yaml:" in ran.err
