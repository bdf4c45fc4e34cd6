"""The lists as CSV, read back by the standard library."""

from __future__ import annotations

import csv
import datetime
import io

from lists.small_weeks import THURSDAY, TUESDAY, eye, key, lists, session, week

from planner.lists.output.table import COLUMNS, table_of
from planner.lists.week.instance import Lists, Placing


def test_a_row_a_case_that_reads_back() -> None:
    cases = [
        eye("A-1", lens_power=-1.5, kit={"ring": 'A ring, 11 mm "small"'}, alerts=(("Latex", True), ("Iodine", None)))
    ]
    made = table_of(week(cases), Lists((Placing("one", 1, key("A-1"), "early", "trainer"),)))
    assert made.endswith("\r\n")  # RFC 4180, 2.1
    (row,) = csv.DictReader(io.StringIO(made, newline=""))
    assert tuple(row) == COLUMNS
    assert (row["case"], row["eye"], row["order"], row["mode"]) == ("A-1", "right", "1", "scrubbed")
    assert (row["kit"], row["alerts"], row["alerts_not_recorded"]) == ('A ring, 11 mm "small"', "Latex", "Iodine")
    # 30 minutes for the junior grade (Nderitu and Ursell) and 9.67 of turnover (Roberts 2018).
    assert row["expected_minutes"] == "40"
    # A lens of less than nothing is a number and stays one; not recorded stays empty.
    assert (row["lens_power_d"], row["backup_lens_power_d"]) == ("-1.50", "")


def test_dates_and_times_are_those_of_the_day_in_theatre() -> None:
    cases = [eye("A-1"), eye("A-2", added=(("iris-hooks", 16.0),), last_day=THURSDAY), eye("A-3")]
    held = lists("one: A-1 early trainer", "one: A-2 late trainer", "one: A-3 - consultant")
    made = table_of(week(cases, [session("one", starts="11:05")]), held)
    rows = list(csv.DictReader(io.StringIO(made, newline="")))
    # 30 minutes and 9.67 of turnover; 24 with 16 for hooks, and 9.67; 19.
    assert [(row["case_starts"], row["case_ends"]) for row in rows] == [
        ("11:05", "11:35"), ("11:45", "12:25"), ("12:34", "12:53"),
    ]  # fmt: skip
    assert [row["expected_start"] for row in rows] == ["0", "40", "89"]
    assert {datetime.date.fromisoformat(row["day"]) for row in rows} == {TUESDAY}
    assert [row["needed_by"] for row in rows] == ["", THURSDAY.isoformat(), ""]


def test_what_a_spreadsheet_would_run_is_quoted() -> None:
    made = table_of(week([eye("=1+1")]), Lists((Placing("one", 1, key("=1+1"), None, "consultant"),)))
    (row,) = csv.DictReader(io.StringIO(made, newline=""))
    assert row["case"] == "'=1+1"
