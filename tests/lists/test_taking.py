"""Entries taken from files: what a row says, what is set aside and why, bounds, and files read back as they were."""

from __future__ import annotations

import csv
import datetime
import io
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from openpyxl import Workbook

from planner.errors import PlannerError
from planner.lists.roster.entries import KINDS, as_yaml, check_entries, entries_of
from planner.lists.roster.files import read_file, written_as
from planner.lists.roster.import_rows import RosterImport, aside_file, import_rows
from planner.lists.roster.shapes import Roster, read_roster
from planner.records.rows import RosterEntry
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
TODAY = datetime.date(2026, 11, 30)
LONDON = ZoneInfo("Europe/London")
STAMP = datetime.datetime(2026, 11, 30, 12, tzinfo=datetime.UTC)
SESSION = "id,day,starts,theatre,minutes,anaesthetist,supervisors\n"
Take = Callable[..., RosterImport]


@pytest.fixture(scope="module")
def unit(rulebook: Rulebook) -> Unit:
    return read_unit(DEMO / "unit.yaml", rulebook)


@pytest.fixture(scope="module")
def demo_roster(rulebook: Rulebook, unit: Unit) -> Roster:
    return read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook)


def kept(entries: Sequence[RosterEntry]) -> list[RosterEntry]:
    """Entries as the store would hold them."""
    at = "2026-11-30T00:00:00Z"
    return [replace(entry, id=number, number=1, at=at, by="o") for number, entry in enumerate(entries, 1)]


@pytest.fixture(scope="module")
def held(demo_roster: Roster) -> list[RosterEntry]:
    return kept(entries_of(demo_roster))


@pytest.fixture
def take(unit: Unit, rulebook: Rulebook, held: list[RosterEntry]) -> Take:
    def run(content: bytes | str, name: str, of: list[RosterEntry] | None = None, **more: object) -> RosterImport:
        packed = content.encode() if isinstance(content, str) else content
        standing = held if of is None else of
        more = {"zone": None, "today": TODAY} | more
        given = read_file(packed, name, standing, **more)  # type: ignore[arg-type]
        return import_rows(given, standing, unit, rulebook)

    return run


def why(found: RosterImport) -> str:
    """Why the one row set aside is."""
    [aside] = found.set_aside
    assert not found.changes
    return f"{aside.where}: {aside.why}"


def book(sheets: dict[str, list[list[object]]], change: Callable[[Workbook], None] = lambda made: None) -> bytes:
    made = Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    change(made)
    stream = io.BytesIO()
    made.save(stream)
    return stream.getvalue()


# There and back.


def test_a_sessions_file_taken_and_written_again_is_the_same_roster(
    take: Take, unit: Unit, rulebook: Rulebook, demo_roster: Roster, tmp_path: Path
) -> None:
    found = take((DEMO / "lists" / "sessions.yaml").read_bytes(), "sessions.yaml", of=[])
    entries = kept([RosterEntry(one.kind, one.key, one.document or {}) for one in found.changes])
    assert not found.set_aside and check_entries(entries, unit, rulebook).roster == demo_roster
    (tmp_path / "again.yaml").write_text(as_yaml(entries), "utf-8")
    assert read_roster(tmp_path / "again.yaml", unit, rulebook) == demo_roster


@pytest.mark.parametrize(
    "name", ["roster.yaml", "roster.xlsx", "sessions.ics", *(f"{k.field}.csv" for k in KINDS.values())]
)
@pytest.mark.parametrize("zone", [None, LONDON], ids=["no zone", "a zone"])
def test_whatever_is_written_says_nothing_new_when_it_is_taken_again(
    take: Take, held: list[RosterEntry], name: str, zone: ZoneInfo | None
) -> None:
    if name in ("wishes.csv", "late_accepted.csv"):
        return  # the demonstration says nothing of them
    content = written_as(name, held, zone, STAMP)
    found = take(content, name, zone=zone, what="sessions" if name.endswith("ics") else None)
    assert (
        found.entries and {one.what for one in found.entries} == {"same"} and not found.changes and not found.set_aside
    )


@pytest.mark.parametrize("name", ["roster.xlsx", "roster.yaml"])
def test_a_new_store_is_filled_by_what_another_wrote(
    take: Take, held: list[RosterEntry], unit: Unit, rulebook: Rulebook, demo_roster: Roster, name: str
) -> None:
    found = take(written_as(name, held, None, STAMP), name, of=[])
    made = kept([RosterEntry(one.kind, one.key, one.document or {}) for one in found.changes])
    assert not found.set_aside and check_entries(made, unit, rulebook).roster == demo_roster


def test_what_a_spreadsheet_would_reckon_is_kept_from_it_and_comes_back(take: Take, held: list[RosterEntry]) -> None:
    odd = [
        replace(entry, document=entry.document | {"theatre": "=1+1"}) if entry.key == "tue-1-a" else entry
        for entry in held
    ]
    for name in ("sessions.csv", "roster.xlsx"):
        content = written_as(name, odd, None, STAMP)
        assert b",'=1+1," in content or name == "roster.xlsx"
        assert {one.what for one in take(content, name, of=odd).entries} == {"same"}


# Rows.


def test_a_column_left_out_leaves_what_stands_and_an_empty_cell_takes_it_away(take: Take) -> None:
    found = take("id,target\ntrainee-2,9\n", "trainees.csv")
    [change] = found.changes
    assert change.document == {"id": "trainee-2", "leave": ["2026-12-08", "2026-12-10"], "target": 9, "shown_tier": 1}
    [change] = take("id,leave,shown_tier\ntrainee-2,,1\n", "trainees.csv").changes
    assert change.document == {"id": "trainee-2", "target": 8, "shown_tier": 1}


def test_leave_is_added_to_what_stands_from_its_first_to_its_last_day(take: Take) -> None:
    found = take("id;first_day;last_day\ntrainee-2;2026-12-21;2026-12-23\ntrainee-2;2026-12-08;\n", "away.csv")
    [change] = found.changes
    assert change.document and change.document["leave"] == [
        "2026-12-08", "2026-12-10", "2026-12-21", "2026-12-22", "2026-12-23"
    ]  # fmt: skip


def test_leave_finds_whom_another_sheet_brings(take: Take) -> None:
    sheets = {
        "leave": [["id", "first_day", "last_day"], ["trainer-9", "2026-12-01", ""]],
        "supervisors": [["id", "grade", "can"], ["trainer-9", "trainer", "scrubbed"]],
    }
    [change] = take(book(sheets), "more.xlsx").changes
    assert change.kind == "supervisor" and change.document and change.document["leave"] == ["2026-12-01"]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("x,2026-12-02,08:30,theatre 1,240,yes,nobody-9", "no supervisor 'nobody-9'"),
        ("x,2026-12-01,09:30,theatre 1,240,yes,trainer-1", "x is in theatre 1 while tue-1-a still runs there"),
        ("x,2/12/2026,08:30,theatre 1,240,yes,trainer-1", "day: '2/12/2026' is not a day; write it like 2026-12-01"),
        ("x,2026-12-02,8.30,theatre 1,240,yes,trainer-1", "write it like 08:30"),
        ("x,2026-12-02,08:30,theatre 1,2400,yes,trainer-1", "at most 720"),
        ("x,2026-12-02,08:30,theatre 1,240,,trainer-1", "`anaesthetist` is missing"),
        ("x,2026-12-02,08:30,theatre 1,240,yes,", "`supervisors` is missing"),
        (",2026-12-02,08:30,theatre 1,240,yes,trainer-1", "id is missing"),
        ("x,2026-12-02,08:30,theatre 1,240,yes,trainer-1,more", "'more' stands under no header"),
        (f"{'x' * 201},2026-12-02,08:30,theatre 1,240,yes,trainer-1", "1 to 200 letters on one line"),
    ],
)
def test_a_row_that_cannot_stand_is_set_aside_with_its_reason(take: Take, row: str, says: str) -> None:
    told = why(take(f"{SESSION}{row}\n", "sessions.csv"))
    assert "sessions.csv row 2" in told and says in told


def test_the_others_are_still_told_and_the_file_of_what_was_set_aside_can_be_taken_once_mended(take: Take) -> None:
    good, bad = "y,2026-12-02,08:30,theatre 1,240,yes,trainer-1", "x,2026-12-02,08:30,theatre 2,240,yes,nobody-9"
    found = take(f"{SESSION}{bad}\n{good}\n", "sessions.csv")
    assert [change.key for change in found.changes] == ["y"]
    [(_, rows)] = found.aside.items()
    text = aside_file(SESSION.strip().split(","), rows).decode()
    assert text.startswith("why,id,day") and "no supervisor 'nobody-9'" in text
    again = take(text.replace(",nobody-9", ",trainer-1"), "sessions.set-aside.csv")
    assert [change.key for change in again.changes] == ["x"] and not again.set_aside


def test_the_same_entry_twice_is_not_guessed_at(take: Take) -> None:
    found = take("id,target\ntrainee-2,9\ntrainee-2,3\n", "trainees.csv")
    assert "stands twice: first at trainees.csv row 2" in found.set_aside[0].why
    assert [change.document and change.document["target"] for change in found.changes] == [9]


def test_a_supervisor_set_aside_takes_the_sessions_that_need_them_along(take: Take) -> None:
    sheets = {
        "supervisors": [["id", "grade", "can"], ["trainer-9", "nurse", "scrubbed"]],
        "sessions": [SESSION.strip().split(","), ["x", "2026-12-02", "08:30", "theatre 1", 240, "yes", "trainer-9"]],
    }
    found = take(book(sheets), "both.xlsx")
    assert not found.changes and len(found.set_aside) == 2
    assert "no supervisor 'trainer-9'" in found.aside["both.xlsx, sheet sessions"][0].why


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("people.csv", "id\ntrainee-2\n", "does not tell what its rows are"),
        ("trainees.csv", "id,targett\ntrainee-2,3\n", "did you mean target?"),
        ("trainees.csv", "id,target,target\ntrainee-2,3,4\n", "stands twice"),
        ("trainees.csv", "target\n3\n", "there is no column `id`"),
        ("trainees.csv", 'id,target\n"trainee-2,3\n', "a quote or a cell that does not end"),
        ("trainees.csv", "", "holds no row"),
        ("roster.yaml", "people: []\n", "unknown key 'people'"),
        ("roster.yaml", "sessions: {}\n", "not a list"),
        ("roster.yaml", "trainees: [x]\n", "is no entry"),
        ("roster.yaml", "", "holds no roster"),
        ("roster.xls", "x", "save it as .xlsx"),
        ("leave.ics", "BEGIN:VCALENDAR\nEND:VCALENDAR\n", "does not tell what its events are"),
    ],
)
def test_a_file_that_tells_nothing_sure_is_refused_whole(take: Take, name: str, text: str, says: str) -> None:
    with pytest.raises(PlannerError) as refused:
        take(text, name)
    assert says in str(refused.value)


# Workbooks.


def test_days_times_and_numbers_of_a_workbook_are_read_as_what_they_are(take: Take) -> None:
    row = ["x", datetime.date(2026, 12, 2), datetime.time(8, 30), "theatre 1", 240.0, True, "trainer-1, consultant-1"]
    [change] = take(book({"sessions": [SESSION.strip().split(","), row]}), "any.xlsx").changes
    assert change.document == {
        "id": "x", "day": "2026-12-02", "starts": "08:30", "theatre": "theatre 1", "minutes": 240,
        "anaesthetist": "yes", "supervisors": ["trainer-1", "consultant-1"],
    }  # fmt: skip


def test_a_formula_counts_by_what_it_came_to_and_not_at_all_where_that_was_not_saved(take: Take) -> None:
    content = book({"trainees": [["id", "target"], ["trainee-2", "=4+5"]]})
    assert "B2 is a formula whose value was not saved" in why(take(content, "t.xlsx"))
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(packed, "w") as new:
        for item in old.infolist():
            # As a spreadsheet saves it.
            new.writestr(
                item,
                old.read(item)
                .replace(b"<f>4+5</f><v></v>", b"<f>4+5</f><v>9</v>")
                .replace(b"<f>4+5</f><v />", b"<f>4+5</f><v>9</v>"),
            )
    [change] = take(packed.getvalue(), "t.xlsx").changes
    assert change.document and change.document["target"] == 9


def test_a_row_that_merged_cells_touch_is_set_aside(take: Take) -> None:
    rows = [["id", "target"], ["trainee-2", 3], ["trainee-3", None], ["trainee-4", 5]]
    content = book({"trainees": rows}, lambda made: made["trainees"].merge_cells("B2:B3"))
    found = take(content, "t.xlsx")
    assert [aside.where for aside in found.set_aside] == [
        "t.xlsx, sheet trainees row 2",
        "t.xlsx, sheet trainees row 3",
    ]
    assert "B2:B3 are merged" in found.set_aside[0].why and [change.key for change in found.changes] == ["trainee-4"]


def test_a_hundred_thousand_rows_are_refused_before_they_are_read(take: Take) -> None:
    made = Workbook(write_only=True)
    sheet = made.create_sheet("trainees")
    sheet.append(["id", "target"])
    for number in range(100_000):
        sheet.append([f"t{number}", 1])
    stream = io.BytesIO()
    made.save(stream)
    with pytest.raises(PlannerError, match="is too l"):
        take(stream.getvalue(), "t.xlsx")
    with pytest.raises(PlannerError, match=r"more than 2,000 rows"):
        take("id,target\n" + "t,1\n" * 100_000, "trainees.csv")
    far = book({"trainees": [["id", "target"]]}, lambda made: made["trainees"].cell(1_000_000, 1, "t"))
    with pytest.raises(PlannerError, match=r"more than 2,000 rows"):
        take(far, "t.xlsx")


def test_a_workbook_that_unpacks_to_too_much_is_refused_unread(take: Take) -> None:
    packed = io.BytesIO(book({"trainees": [["id", "target"], ["trainee-2", 3]]}))
    with zipfile.ZipFile(packed, "a", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("xl/media/more.xml", b"0" * 200_000_000)
    assert len(packed.getvalue()) < 300_000
    with pytest.raises(PlannerError, match="unpacked it has"):
        take(packed.getvalue(), "t.xlsx")


def test_a_workbook_whose_text_grows_by_itself_is_refused(take: Take) -> None:
    """Entities that name each other: some bytes that are gigabytes once read."""
    content = book({"trainees": [["id", "target"], ["trainee-2", 3]]})
    grown = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    kind = f'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY l0 "ha">{grown}]>'
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            read = old.read(item)
            if item.filename.endswith("sheet1.xml"):
                assert b"<t>trainee-2</t>" in read
                read = kind.encode() + read.replace(b"<t>trainee-2</t>", b"<t>&l9;</t>")
            new.writestr(item, read)
    with pytest.raises(PlannerError, match="cannot be read as a workbook"):
        take(packed.getvalue(), "t.xlsx")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"not a workbook", b"PK\x05\x06" + bytes(18)])
def test_what_is_no_workbook_is_said_to_be_none(take: Take, content: bytes) -> None:
    with pytest.raises(PlannerError, match="workbook"):
        take(content, "t.xlsx")


# Calendars.


def calendar(*events: str) -> str:
    blocks = "".join(
        f"BEGIN:VEVENT\r\nUID:{n}@x\r\n{event.strip()}\r\nEND:VEVENT\r\n".replace("\n", "\r\n").replace("\r\r", "\r")
        for n, event in enumerate(events)
    )
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{blocks}END:VCALENDAR\r\n"


def leave_of(found: RosterImport) -> list[str]:
    [change] = found.changes
    assert change.document
    return list(change.document["leave"])


def test_leave_of_whole_days_ends_before_its_end(take: Take) -> None:
    event = "SUMMARY:consultant-1 annual leave\nDTSTART;VALUE=DATE:20261221\nDTEND;VALUE=DATE:20261224"
    assert leave_of(take(calendar(event), "l.ics", what="leave")) == ["2026-12-21", "2026-12-22", "2026-12-23"]


def test_an_hour_away_is_a_day_away_on_the_units_clock(take: Take) -> None:
    event = "SUMMARY:Consultant-1: course\nDTSTART:20261222T233000Z\nDTEND:20261223T003000Z"
    assert leave_of(take(calendar(event), "l.ics", what="leave", zone=ZoneInfo("Asia/Tokyo"))) == ["2026-12-23"]
    assert leave_of(take(calendar(event), "l.ics", what="leave", zone=LONDON)) == ["2026-12-22", "2026-12-23"]
    assert "the unit's file names none" in why(take(calendar(event), "l.ics", what="leave"))


def test_a_name_that_stands_for_a_code(take: Take) -> None:
    event = "SUMMARY:Dr R. Ash (leave)\nDTSTART;VALUE=DATE:20261221"
    assert "names no person of the roster" in why(take(calendar(event), "l.ics", what="leave"))
    assert leave_of(take(calendar(event), "l.ics", what="leave", names={"r. ash": "consultant-1"})) == ["2026-12-21"]
    both = "SUMMARY:consultant-1 and trainer-1 away\nDTSTART;VALUE=DATE:20261221"
    assert "names consultant-1, trainer-1" in why(take(calendar(both), "l.ics", what="leave"))
    longer = "SUMMARY:consultant-10 away\nDTSTART;VALUE=DATE:20261221"
    assert "names no person" in why(take(calendar(longer), "l.ics", what="leave"))


def test_an_event_that_comes_again_with_days_left_out_moved_and_past(take: Take) -> None:
    event = (
        "SUMMARY:trainer-1 half day\nDTSTART;TZID=Europe/London:20261117T130000\n"
        "DTEND;TZID=Europe/London:20261117T170000\n"
        "RRULE:FREQ=WEEKLY;UNTIL=20261222T120000Z\nEXDATE;TZID=Europe/London:20261208T130000"
    )
    moved = calendar(event).replace(
        "END:VCALENDAR",
        "BEGIN:VEVENT\r\nUID:0@x\r\nSUMMARY:trainer-1 half day\r\nRECURRENCE-ID;TZID=Europe/London:20261215T130000\r\n"
        "DTSTART;TZID=Europe/London:20261216T130000\r\nEND:VEVENT\r\nEND:VCALENDAR",
    )
    found = take(moved, "l.ics", what="leave", zone=LONDON)
    # The 22nd would begin after the rule ends, the 8th is left out, the 15th was moved, two are past.
    assert leave_of(found) == ["2026-12-01", "2026-12-16"]
    assert "2 events before 2026-11-30 passed over" in found.notes


def test_one_without_an_end_is_followed_for_400_days_and_says_so(take: Take) -> None:
    found = take(calendar("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261201\nRRULE:FREQ=WEEKLY"), "l.ics", what="leave")
    assert len(leave_of(found)) == 58 and max(leave_of(found)) == "2028-01-04"
    assert any("taken up to 2028-01-04" in note for note in found.notes)


def test_sessions_from_a_calendar(take: Take) -> None:
    event = (
        "SUMMARY:Cataract list trainer-1\nLOCATION:theatre 3\nDTSTART:20261202T083000\nDTEND:20261202T123000\n"
        "DESCRIPTION:anaesthetist: yes\\nbring the slides"
    )
    [change] = take(calendar(event), "s.ics", what="sessions").changes
    assert change.document == {
        "id": "2026-12-02-theatre-3-0830", "day": "2026-12-02", "starts": "08:30", "theatre": "theatre 3",
        "minutes": 240, "anaesthetist": "yes", "supervisors": ["trainer-1"],
    }  # fmt: skip
    # What is not said is not assumed; where the session is known, it stands as it was.
    assert "`anaesthetist` is missing" in why(take(calendar(event.partition("\nDESC")[0]), "s.ics", what="sessions"))
    known = "SUMMARY:list\nLOCATION:theatre 1\nDTSTART:20261201T083000\nDTEND:20261201T113000"
    [change] = take(calendar(known), "s.ics", what="sessions").changes
    assert change.key == "tue-1-a" and change.document and change.document["minutes"] == 180
    assert "has no place" in why(take(calendar(known.replace("LOCATION:theatre 1\n", "")), "s.ics", what="sessions"))
    day = "SUMMARY:list\nLOCATION:theatre 1\nDTSTART;VALUE=DATE:20261201"
    assert "has no hours" in why(take(calendar(day), "s.ics", what="sessions"))
    assert "is cancelled" in why(take(calendar(known + "\nSTATUS:CANCELLED"), "s.ics", what="sessions"))


def test_a_weekly_session_keeps_its_hour_over_the_change_of_the_clocks(take: Take) -> None:
    event = (
        "SUMMARY:list trainer-1\nLOCATION:theatre 3\nDTSTART;TZID=Europe/London:20270323T083000\n"
        "DTEND;TZID=Europe/London:20270323T123000\nRRULE:FREQ=WEEKLY;COUNT=2\nDESCRIPTION:id: spring\\nanaesthetist: no"
    )
    found = take(calendar(event), "s.ics", what="sessions", zone=LONDON)
    assert [(one.key, one.document and one.document["starts"]) for one in found.changes] == [
        ("spring-2027-03-23", "08:30"), ("spring-2027-03-30", "08:30")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "no calendar|no event"),
        ("BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "no calendar|no event"),
        ("not a calendar at all", "no calendar|no event"),
        ("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n", "holds no event"),
        (b"BEGIN:VCALENDAR\r\n\xff\xfe", "UTF-8"),
        (b"\x00" * 100, "no calendar|no event"),
    ],
)
def test_a_broken_calendar_is_said_to_be_broken(take: Take, content: bytes | str, says: str) -> None:
    with pytest.raises(PlannerError, match=says):
        take(content, "l.ics", what="leave")


@pytest.mark.parametrize(
    ("event", "says"),
    [
        ("SUMMARY:trainer-1", "no day that can be read"),
        ("SUMMARY:trainer-1\nDTSTART:tomorrow", "read"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261224\nDTEND;VALUE=DATE:20261221", "ends before it begins"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261224\nDTEND:20261225T080000", "the other way round"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261224\nDTEND;VALUE=DATE:20401224", "lasts more than"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261224\nRRULE:FREQ=SECONDLY", "only daily, weekly and monthly"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:19010101\nRRULE:FREQ=DAILY", "longer ago"),
        ("SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261224\nRDATE;VALUE=PERIOD:20261201T000000Z/P1D", "read"),
    ],
)
def test_an_event_that_cannot_be_read_is_set_aside(take: Take, event: str, says: str) -> None:
    assert says in why(take(calendar(event), "l.ics", what="leave"))


def test_a_huge_calendar_is_refused_unread(take: Take) -> None:
    event = "SUMMARY:trainer-1\nDTSTART;VALUE=DATE:20261221"
    with pytest.raises(PlannerError, match=r"more than 2,000 events"):
        take(calendar(*[event] * 2_001), "l.ics", what="leave")
    with pytest.raises(PlannerError, match=r"larger than 2,000,000 bytes"):
        take(calendar(event + "\nDESCRIPTION:" + "x" * 2_000_000), "l.ics", what="leave")
    every_day = event + "\nRRULE:FREQ=DAILY"
    with pytest.raises(PlannerError, match=r"more than 2,000 entries"):
        take(calendar(*[every_day] * 10), "l.ics", what="leave")


def test_a_table_names_its_rows_as_a_spreadsheet_shows_them(held: list[RosterEntry]) -> None:
    rows = list(csv.DictReader(io.StringIO(written_as("sessions.csv", held, None, STAMP).decode())))
    assert rows[0]["kit"] == "capsule-microforceps: sets 1; iris-hooks: sets 1, ready_again_after 180"
