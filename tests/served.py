"""`planner serve` as a process of its own, and a store for it with one person of each role."""

from __future__ import annotations

import datetime
import importlib.util
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
from visits import CHEAP, PASSWORD, PEOPLE

from planner.lists.roster.shapes import Roster, read_roster
from planner.records.database import URL_VARIABLE
from planner.records.repository import utc_now
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

UNIT = Path(__file__).parents[1] / "demo_cases" / "unit.yaml"


def staffed(url: str, clock: Callable[[], datetime.datetime] = utc_now) -> Store:
    """A new store there, its people with a password each."""
    store = Store.open(url, clock=clock)
    for code, role in PEOPLE.items():
        store.add_person(code, f"Person {code[-1]}", role, "command-line")
        store.set_password_hash(code, CHEAP.hash(PASSWORD), "command-line")
    return store


def pool_entered(store: Store, rulebook: Rulebook) -> int:
    """The demonstration's pool, approved and without a place, its dates as much later as `coming_sessions` are."""
    spec = importlib.util.spec_from_file_location("enter_lists", UNIT.parent / "enter_lists.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    entered: int = module.enter(store, rulebook, later())
    return entered


def later() -> datetime.timedelta:
    """How much later than in its files the demonstration's first session is held, so that it is a week from today."""
    return datetime.date.today() + datetime.timedelta(days=7) - datetime.date(2026, 12, 1)


def coming_sessions(rulebook: Rulebook) -> Roster:
    """The demonstration's sessions file, its first day put a week from today."""
    roster = read_roster(UNIT.parent / "lists" / "sessions.yaml", read_unit(UNIT, rulebook), rulebook)
    by = later()

    def moved(people: list[Any]) -> list[Any]:
        return [one.model_copy(update={"leave": [day + by for day in one.leave]}) for one in people]

    return roster.model_copy(
        update={
            "sessions": [one.model_copy(update={"day": one.day + by}) for one in roster.sessions],
            "trainees": moved(list(roster.trainees)),
            "supervisors": moved(list(roster.supervisors)),
            "patients": [
                one.model_copy(
                    update={
                        "away": [day + by for day in one.away],
                        "not_before": one.not_before + by if one.not_before else None,
                    }
                )
                for one in roster.patients
            ],
        }
    )


@contextmanager
def serving(url: str, folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The address of a server that runs there, and its process; killed at the end where it still runs."""
    environment = os.environ | {URL_VARIABLE: url}
    command = [sys.executable, "-m", "planner", "serve", "--port", "0", "--unit", str(UNIT)]
    with subprocess.Popen(command, cwd=folder, env=environment, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        said = process.stderr.readline()
        found = re.search(r"http://\S+(?=/ )", said)
        assert found, said + process.stderr.read()
        try:
            yield found[0], process
        finally:
            process.kill()
            process.wait(20)


def signed_in(address: str, code: str) -> httpx.Client:
    """A visit without scripts, signed in; its forms' token stands in `token_of`."""
    visit = httpx.Client(base_url=address, timeout=60)
    token = token_of(visit, "/sign-in")
    sent = {"token": token, "code": code, "password": PASSWORD, "next": ""}
    assert visit.post("/sign-in", data=sent).status_code == 303
    return visit


def token_of(visit: httpx.Client, page: str = "/cases") -> str:
    found = re.search(r'name="token" value="([^"]+)"', visit.get(page).text)
    assert found, f"{page} holds no form"
    return found[1]
