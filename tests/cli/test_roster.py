"""`planner roster`: taken whole or not at all, what is set aside in a file of its own, and one roster in force."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran

from planner.lists.roster.shapes import read_roster
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
UNIT, SESSIONS = DEMO / "unit.yaml", DEMO / "lists" / "sessions.yaml"
Planner = Callable[..., Ran]


@pytest.fixture
def planner(planner: Planner, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Planner:
    """The command over a store with an organiser."""
    monkeypatch.delenv("PLANNER_DATABASE_URL", raising=False)
    store = Store.open(str(folder / "planner.db"))
    store.add_person("organiser-1", "R Ash", "organiser", "command-line")
    store.add_person("trainee-3", "S Elm", "trainee", "command-line")
    store.close()
    return planner


def take(planner: Planner, *files: object, by: str = "organiser-1") -> Ran:
    return planner("roster", "take", *files, "--unit", UNIT, "--by", by)


def test_what_is_taken_is_exported_again_the_same(planner: Planner, folder: Path, rulebook: Rulebook) -> None:
    ran = take(planner, SESSIONS)
    assert ran.code == 0 and re.search(r"2\d new, 0 changed, 0 as they were, 0 set aside", ran.err)
    unit = read_unit(UNIT, rulebook)
    for name in ("roster.yaml", "roster.xlsx", "sessions.csv", "sessions.ics"):
        assert planner("roster", "export", name, "--unit", UNIT).code == 0
    assert read_roster(folder / "roster.yaml", unit, rulebook) == read_roster(SESSIONS, unit, rulebook)
    shown = planner("roster", "show", "--unit", UNIT)
    assert shown.code == 0 and shown.out == (folder / "roster.yaml").read_text("utf-8")
    again = take(planner, "roster.xlsx")
    assert again.code == 0 and "0 new, 0 changed, 29 as they were" in again.err


def test_nothing_is_half_taken_unless_asked(planner: Planner, folder: Path) -> None:
    take(planner, SESSIONS)
    (folder / "trainees.csv").write_text("id,target\ntrainee-2,3\ntrainee-9,4\n")
    ran = take(planner, "trainees.csv")
    assert ran.code == 1 and "nothing was taken" in ran.err and "no trainee 'trainee-9'" in ran.out
    assert "target: 8" in planner("roster", "show", "--unit", UNIT).out.split("trainee-2")[1][:60]
    aside = (folder / "trainees.set-aside.csv").read_text("utf-8").splitlines()
    assert aside[0] == "why,id,target" and aside[1].endswith("trainee-9,4")
    ran = take(planner, "trainees.csv", "--the-rest")
    assert ran.code == 1 and "1 entries taken" in ran.err
    assert "target: 3" in planner("roster", "show", "--unit", UNIT).out.split("trainee-2")[1][:60]


def test_a_dry_run_does_nothing(planner: Planner, folder: Path) -> None:
    ran = take(planner, SESSIONS, "--dry-run")
    assert ran.code == 0 and "new      session tue-1-a" in ran.out
    shown = planner("roster", "show", "--unit", UNIT)
    assert shown.code == 1 and "holds no roster" in shown.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["x.yaml", "--by", "organiser-1"], "x.yaml"),
        ([SESSIONS, "--by", "trainee-3"], "may not do this"),
        ([SESSIONS, "--by", "nobody"], "nobody who may enter things"),
        (["leave.ics", "--by", "organiser-1"], "say whether its events are leave or sessions"),
        (["leave.ics", "--by", "organiser-1", "--as", "holidays"], "neither leave nor sessions"),
        (["leave.ics", "--by", "organiser-1", "--as", "leave", "--name", "Ash"], "names nobody"),
    ],
)
def test_what_cannot_be_done_is_said(planner: Planner, folder: Path, arguments: list[object], says: str) -> None:
    (folder / "leave.ics").write_text("BEGIN:VCALENDAR\nEND:VCALENDAR\n")
    ran = planner("roster", "take", *arguments, "--unit", UNIT)
    assert ran.code == 1 and says in ran.err and "Traceback" not in ran.err


def test_leave_from_a_calendar_by_the_name_of_an_account_and_by_one_given(planner: Planner, folder: Path) -> None:
    take(planner, SESSIONS)
    event = "BEGIN:VEVENT\r\nUID:{0}\r\nSUMMARY:{0} AL\r\nDTSTART;VALUE=DATE:2099122{1}\r\nEND:VEVENT\r\n"
    both = event.format("S Elm", 1) + event.format("Dr Oak", 2)
    (folder / "leave.ics").write_bytes(f"BEGIN:VCALENDAR\r\n{both}END:VCALENDAR\r\n".encode())
    ran = take(planner, "leave.ics", "--as", "leave", "--name", "Oak=consultant-1")
    assert ran.code == 0, ran.err + ran.out
    shown = planner("roster", "show", "--unit", UNIT).out
    assert "id: trainee-3, leave: [2099-12-21]" in shown and "leave: [2099-12-22]" in shown


def test_the_store_is_in_force_and_a_file_named_beside_it_is_not_read(planner: Planner) -> None:
    lists = ["lists", "match", "--cases", "records", "--unit", UNIT]
    ran = planner(*lists)
    assert ran.code == 1 and "holds no roster" in ran.err
    assert planner(*lists, "--with", SESSIONS).code == 0
    take(planner, SESSIONS)
    assert planner(*lists).code == 0
    ran = planner(*lists, "--with", SESSIONS)
    assert ran.code == 0 and f"{SESSIONS} was not read: the roster in planner.db is in force" in ran.err
    ran = planner("lists", "match", "--cases", DEMO / "lists" / "pool.csv", "--unit", UNIT)
    assert ran.code == 1 and "--with is missing" in ran.err
