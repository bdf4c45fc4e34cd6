"""The store's commands, through the real command line, in a folder of their own and on PostgreSQL."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, in_process
from invented_unit import document, people, whole_story

from planner.records.database import URL_VARIABLE
from planner.records.password_hashing import matches
from planner.records.store import Store

ROOT = Path(__file__).parents[2]
Planner = Callable[..., Ran]
GOOD = b"four words not belonging\n"


@pytest.fixture
def planner(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Planner:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(URL_VARIABLE, raising=False)
    return in_process


def test_from_the_first_account_to_a_restored_backup(
    planner: Planner, new_url: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = new_url()
    monkeypatch.setenv(URL_VARIABLE, url)
    add = ("people", "add", "admin-1", "--name", "A Minn", "--role", "administrator", "--password-stdin")
    assert planner(*add, stdin=GOOD).out.startswith("added admin-1, administrator, to ")
    assert "is in use" in planner(*add, stdin=GOOD).error
    store = Store.open(url)
    hash = store.password_hash("admin-1")
    assert hash is not None and matches(hash, "four words not belonging")
    assert planner("people", "list").out.split() == ["admin-1", "administrator", "A", "Minn"]
    people_but_the_first(store)
    whole_story(store)
    store.close()
    held = planner("records", "verify").out
    assert f"{Store.open(url).verify().entries} entries hold; head " in held
    number, _, last = held.split("head ")[1].strip().partition(":")
    assert planner("records", "verify", "--head", f"{number}:{last}").out == held
    assert "cut or rewritten" in planner("records", "verify", "--head", f"{int(number) + 1}:{last}").error
    assert planner("records", "backup", "monday.backup").err.startswith("wrote monday.backup: ")
    assert oct((tmp_path / "monday.backup").stat().st_mode)[-3:] == "600"
    assert planner("export", "out").code == 0
    monkeypatch.setenv(URL_VARIABLE, f"sqlite:///{tmp_path / 'restored.db'}")
    assert planner("records", "restore", "monday.backup").out.split("head ")[1] == held.split("head ")[1]
    assert planner("export", "out-2").code == 0
    for path in (tmp_path / "out").iterdir():
        assert path.read_bytes() == (tmp_path / "out-2" / path.name).read_bytes()
    assert "holds something already" in planner("records", "restore", "monday.backup").error


def people_but_the_first(store: Store) -> None:
    class Others(Store):
        def add_person(self, code: str, *rest: object) -> object:  # type: ignore[override]
            return None if code == "admin-1" else super().add_person(code, *rest)  # type: ignore[arg-type]

    people(Others(store._database))


def test_the_trail_of_a_case(planner: Planner) -> None:
    store = Store.open("planner.db")
    people(store)
    case = store.new_case(document(), "trainee-3").case_id
    store.new_case(document("A-105"), "trainee-3")
    store.save_case(case, 1, {"inr": 2}, "consultant-1")
    lines = planner("records", "trail", "--case", "A-104").out.splitlines()
    assert len(lines) == 3 and "consultant-1" in lines[-1] and "case changed" in lines[-1]
    assert lines[-1].endswith("A-104, right eye")
    entries = [json.loads(line) for line in planner("records", "trail", "--json").out.splitlines()]
    assert [entry["sequence"] for entry in entries] == list(range(1, len(entries) + 1))
    assert "there is no case 'A-9'" in planner("records", "trail", "--case", "A-9").error


def test_a_tampered_store_ends_with_one_and_says_where(planner: Planner) -> None:
    import sqlite3

    store = Store.open("planner.db")
    people(store)
    store.close()
    direct = sqlite3.connect("planner.db")
    direct.execute("DROP TRIGGER people_no_update")
    direct.execute("UPDATE people SET role = 'administrator' WHERE code = 'trainee-3'")
    direct.commit()
    direct.close()
    error = planner("records", "verify").error
    assert "people: its guard against changes is gone" in error and "people 2: was changed" in error


def test_people_are_set_inactive_and_active(planner: Planner) -> None:
    people(Store.open("planner.db"))
    assert planner("people", "deactivate", "trainee-3").out == "trainee-3 is inactive\n"
    assert "trainee-3            trainee        Invented trainee-3  (inactive)" in planner("people", "list").out
    assert planner("people", "activate", "trainee-3").code == 0
    assert planner("people", "password", "trainee-3", "--password-stdin", stdin=GOOD).code == 0
    assert Store.open("planner.db").password_hash("trainee-3") is not None
    assert "nobody has the code" in planner("people", "password", "t-9", "--password-stdin", stdin=GOOD).error
    listed = [json.loads(line) for line in planner("people", "list", "--json").out.splitlines()]
    assert {"admin-1", "trainee-3"} <= {person["code"] for person in listed}


@pytest.mark.parametrize(
    "command",
    [
        ("records", "verify"),
        ("records", "backup", "x.backup"),
        ("records", "trail"),
        ("export", "out"),
        ("people", "list"),
        ("people", "deactivate", "t-9"),
    ],
)
def test_without_a_store_nothing_is_made(planner: Planner, tmp_path: Path, command: tuple[str, ...]) -> None:
    assert "there is no store here" in planner(*command).error
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_a_person_makes_no_store(planner: Planner, tmp_path: Path) -> None:
    add = ("people", "add", "trainee-3", "--name", "T Three", "--role")
    assert "not a role" in planner(*add, "surgeon", "--password-stdin", stdin=GOOD).error
    assert "fewer than 12" in planner(*add, "trainee", "--password-stdin", stdin=b"short\n").error
    assert "no terminal" in planner(*add, "trainee").error
    assert list(tmp_path.iterdir()) == []


def test_a_backup_that_cannot_be_written_or_read(planner: Planner, tmp_path: Path) -> None:
    people(Store.open("planner.db"))
    assert "No space left on device" in planner("records", "backup", "/dev/full").error
    (tmp_path / "there.backup").write_text("kept")
    assert "is there already" in planner("records", "backup", "there.backup").error
    assert (tmp_path / "there.backup").read_text() == "kept"
    assert "cannot be read: No such file" in planner("records", "restore", "nowhere.backup").error


@pytest.mark.parametrize(("second", "ends"), [("four words not belonging", 0), ("four words not belongin", 1)])
def test_the_password_is_asked_for_twice_on_a_terminal(tmp_path: Path, second: str, ends: int) -> None:
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "planner", "people", "add", "trainee-3", "--name", "T Three", "--role", "trainee"]
    environment = {name: value for name, value in os.environ.items() if name != URL_VARIABLE}
    run = subprocess.Popen(
        command,
        cwd=tmp_path,
        env=environment | {"PYTHONPATH": str(ROOT)},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
    )
    os.close(theirs)
    shown = b""
    for prompt, typed in ((b"Password: ", "four words not belonging"), (b"same again: ", second)):
        while prompt not in shown:
            shown += os.read(ours, 1000)
        os.write(ours, f"{typed}\n".encode())
    assert run.wait(timeout=60) == ends
    assert b"four words" not in shown
    assert (tmp_path / "planner.db").exists() == (ends == 0)
    os.close(ours)
