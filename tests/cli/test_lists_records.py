"""`planner lists` on what the store holds: approved cases as they were approved, and their places."""

from __future__ import annotations

import datetime
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, in_process
from served import coming_sessions, later, pool_entered

from planner.desk.plans import PlanCache
from planner.lists.week.from_records import FromRecords
from planner.lists.week.lists_file import lists_in
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

UNIT = Path(__file__).parents[2] / "demo_cases" / "unit.yaml"
Planner = Callable[..., Ran]


@pytest.fixture(scope="module")
def folder(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demonstration's pool approved in a store, and the sessions to come."""
    folder = tmp_path_factory.mktemp("records")
    store = Store.open(str(folder / "planner.db"))
    pool_entered(store, rulebook)
    store.close()
    text = (UNIT.parent / "lists" / "sessions.yaml").read_text("utf-8")
    text = re.sub(
        r"\d{4}-\d\d-\d\d", lambda day: str(datetime.date.fromisoformat(day[0]) + later()), text
    )  # fmt: skip
    (folder / "sessions.yaml").write_text(text, "utf-8")
    return folder


@pytest.fixture
def run(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Planner:
    monkeypatch.delenv("PLANNER_DATABASE_URL", raising=False)

    def planner(*arguments: str, cases: tuple[str, ...] = ("records",)) -> Ran:
        given = ["--unit", UNIT, "--with", "sessions.yaml", *(word for one in cases for word in ("--cases", one))]
        return in_process("lists", *arguments, *given, folder=folder)

    return planner


@pytest.mark.long
def test_the_store_is_matched_judged_and_printed(run: Planner, folder: Path, rulebook: Rulebook) -> None:
    matched = run("match", "-o", "lists.yaml")
    assert matched.code == 0 and matched.out.startswith("44 of 48 cases placed"), matched.err
    assert run("check", "records").out.count("L-4") == 48, "nothing has a place as yet"

    store = Store.open(str(folder / "planner.db"))
    unit = read_unit(UNIT, rulebook)
    reader = FromRecords(store, rulebook, unit, coming_sessions(rulebook), PlanCache(rulebook, unit).plan)
    now = reader.recorded(min(session.day for session in coming_sessions(rulebook).sessions))
    now.arrange(store, lists_in((folder / "lists.yaml").read_text("utf-8"), "lists.yaml", now.instance), "organiser-1")
    store.close()

    stands = run("check", "records")
    assert stands.code == 0 and stands.out.startswith("These lists keep every rule.")
    again = json.loads(run("match", "--json").out)
    assert len(again["placings"]) == 44 and all(one["reason"] is None for one in again["placings"]), "they stay"
    assert "number 1 in tue-1-a" in run("why", "records", "L-412").out
    assert run("brief", "records", "--since", "records", "--session", "tue-1-a", "-o", "brief.pdf").code == 0
    assert (folder / "brief.pdf").read_bytes().startswith(b"%PDF")


def test_records_and_files_are_not_mixed(run: Planner) -> None:
    ran = run("match", cases=("records", "more.csv"))
    assert ran.code == 1 and "stands for all approved cases" in ran.error


@pytest.mark.parametrize("command", [("check", "records"), ("brief", "lists.yaml", "--since", "records")])
def test_the_places_of_the_store_are_of_its_own_cases(run: Planner, folder: Path, command: tuple[str, ...]) -> None:
    (folder / "lists.yaml").write_text("lists: []\n", "utf-8")
    ran = run(*command, cases=(str(UNIT.parent / "lists" / "pool.csv"),))
    assert ran.code == 1 and "stands for the places in the store" in ran.error and "--cases records" in ran.error


@pytest.mark.parametrize("command", ["orders", "standby"])
def test_the_roster_in_the_store_serves_without_a_sessions_file(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """Both demanded a file that the store does not need."""
    monkeypatch.delenv("PLANNER_DATABASE_URL", raising=False)
    shutil.copyfile(folder / "planner.db", tmp_path / "planner.db")
    session = ["tue-1-a"] if command == "standby" else []

    def planner(*arguments: str) -> Ran:
        return in_process(*arguments, "--unit", UNIT, folder=tmp_path)

    asked = ("lists", command, "records", *session, "--cases", "records")
    assert "holds no roster" in planner(*asked).error
    assert planner("roster", "take", str(folder / "sessions.yaml"), "--by", "organiser-1").code == 0
    told = planner(*asked)
    assert told.code == 0, told.err
    assert told.out.startswith("Orders for the lists from" if command == "orders" else "Standby for tue-1-a")
