"""The server killed while it writes, a disk that is full, a database that is locked, stopped, and started again."""

from __future__ import annotations

import contextlib
import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import served
import uvicorn
from every_state import APPROVED, SENT_BACK, every_state
from fastapi import FastAPI
from httpx import TransportError
from playwright.sync_api import Browser, Page, Route, expect
from private_postgres import Cluster
from seeds import draws
from served import serving, staffed, token_of
from sqlalchemy import event
from visits import CHEAP, Clock, Visit, sign_in

from planner.desk.desk import Desk
from planner.records import database
from planner.records.database import URL_VARIABLE, StoreUnavailableError, engine_of
from planner.records.rows import CaseVersion
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.web.security.passwords import Passwords
from planner.web.security.security_headers import CONTENT_POLICY
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

KILLS = draws(3, 40)
FORKING = Path(__file__).with_name("forking.py")
FORM = "/cases/A-104/left"


@pytest.fixture
def fork(tmp_path: Path) -> Iterator[Callable[[str], tuple[int, str]]]:
    """Starts a server of a database; gives its process and its address."""
    command, environment = (
        [sys.executable, str(FORKING)],
        os.environ | {"PYTHONPATH": os.pathsep.join(map(str, FORKING.parents[1:3]))},
    )
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, env=environment, cwd=tmp_path, **pipes) as process:
        assert process.stdin is not None and process.stdout is not None
        requests, answers = process.stdin, process.stdout

        def start(url: str) -> tuple[int, str]:
            print(url, file=requests, flush=True)
            child, port = map(int, answers.readline().split())
            return child, f"http://127.0.0.1:{port}"

        yield start
        requests.close()


@pytest.mark.long
@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_killed_server_loses_nothing_that_a_page_was_told_is_saved(
    tmp_path: Path, fork: Callable[[str], tuple[int, str]], request: pytest.FixtureRequest, kind: str
) -> None:
    url = f"sqlite:///{tmp_path / 'planner.db'}" if kind == "sqlite" else request.getfixturevalue("database_url")
    store, chance = staffed(url), random.Random(7)
    eyes = [store.new_case({"case": f"A-{n}", "eye": "left"}, "trainee-3").case_id for n in (1, 2)]
    told: dict[int, dict[int, int]] = {case: {} for case in eyes}
    cookies, head = httpx.Cookies(), store.verify().head
    for _ in range(KILLS):
        child, address = fork(url)
        # Signed in once: sessions outlive the server.
        cookies = cookies or served.signed_in(address, "trainee-3").cookies
        begun = threading.Event()
        writers = [
            threading.Thread(target=_save_on, args=(address, cookies, f"A-{n}", store.version(case), told[case], begun))
            for n, case in enumerate(eyes, 1)
        ]
        for writer in writers:
            writer.start()
        assert begun.wait(60)
        time.sleep(chance.uniform(0, 0.1))
        os.kill(child, signal.SIGKILL)
        for writer in writers:
            writer.join(60)
            assert not writer.is_alive()
        head = store.verify(head).head
        for case in eyes:
            kept = {version.number: version.findings.get("iop_mmhg") for version in store.versions(case)}
            assert sorted(kept) == list(range(1, len(kept) + 1))
            assert {number: kept.get(number) for number in told[case]} == told[case]
    assert sum(map(len, told.values())) >= KILLS
    store.close()
    verify = [sys.executable, "-m", "planner", "records", "verify"]
    ran = subprocess.run(verify, env=os.environ | {URL_VARIABLE: url}, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr


def _save_on(
    address: str, cookies: httpx.Cookies, reference: str, version: CaseVersion, told: dict[int, int],
    begun: threading.Event,
) -> None:  # fmt: skip
    """Save one field again and again, as the page does, until nobody answers; note what was acknowledged."""
    number = version.number
    with httpx.Client(base_url=address, cookies=cookies, timeout=60) as visit, contextlib.suppress(TransportError):
        token = visit.get("/form-token").json()["token"]
        while True:
            value = 10 + (number * 7) % 50
            sent = {"token": token, "based_on": str(number), "f.iop_mmhg": str(value)}
            answer = visit.post(f"/cases/{reference}/left", data=sent)
            assert answer.status_code == 303, answer.text
            number += 1
            told[number] = value
            begun.set()


def test_a_disk_without_room_is_said_and_the_server_goes_on_with_room_again(tmp_path: Path) -> None:
    """A file system of one megabyte, filled to the last byte under a running server."""
    small = tmp_path / "small"
    small.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", small], capture_output=True).returncode:
        pytest.skip("only an administrator may mount a small file system")
    try:
        url = f"sqlite:///{small / 'planner.db'}"
        store = staffed(url)
        case = store.new_case({"case": "A-104", "eye": "left"}, "trainee-3").case_id
        with serving(url, tmp_path) as (address, _):
            visit = served.signed_in(address, "trainee-3")
            sent = {"token": token_of(visit), "based_on": "1", "f.iop_mmhg": "18"}
            filler = small / "filler"
            with contextlib.suppress(OSError), filler.open("wb", buffering=0) as stream:
                while True:
                    stream.write(bytes(4096))
            # The last page that was there may take a save or two.
            answers = (visit.post(FORM, data=sent | {"f.iop_mmhg": str(number)}) for number in range(11, 60))
            full = next(answer for answer in answers if answer.status_code not in (303, 409))
            assert full.status_code == 503
            assert "is full" in full.text and "Nothing of this was changed" in full.text
            # What is there can be read meanwhile.
            for page in ("/cases", FORM, FORM + "/plan"):
                assert visit.get(page).status_code == 200
            kept = store.version(case)
            filler.unlink()
            again = sent | {"based_on": str(kept.number), "f.iop_mmhg": "60"}
            assert visit.post(FORM, data=again).status_code == 303
            assert store.version(case).findings == {"iop_mmhg": 60}
        store.verify()
        store.close()
    finally:
        subprocess.run(["umount", "-l", small], check=True)


# The page in a browser over a store that fails: what it says, and that it saves once the store is back.

Opened = Callable[[Store], Page]


@pytest.fixture
def opened(rulebook: Rulebook, chromium: Browser) -> Iterator[Opened]:
    """Opens the form of a new case, by a trainee who is signed in, served from a given store."""
    with contextlib.ExitStack() as ends:

        def start(store: Store) -> Page:
            store.new_case({"case": "A-104", "eye": "left"}, "trainee-3")
            app = make_app(Desk(store, rulebook, None), Settings(secure_cookies=False), Passwords(CHEAP))
            server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="critical"))
            thread = threading.Thread(target=server.run, daemon=True)
            thread.start()
            ends.callback(thread.join, 10)
            ends.callback(setattr, server, "should_exit", True)
            while not server.started:
                time.sleep(0.02)
            address = f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
            context = chromium.new_context(base_url=address)
            ends.callback(context.close)
            page = context.new_page()
            page.goto("/sign-in")
            sign_in(page, "trainee-3")
            page.wait_for_url("**/cases")
            page.goto(FORM)
            page.fill("#f-age_years", "70")
            page.keyboard.press("Tab")
            expect(page.locator("#saved-patient")).to_have_text(re.compile("^Saved"))
            return page

        yield start


def _fails_and_comes_back(page: Page, store: Store, reason: str, mend: Callable[[], object]) -> None:
    """A save fails with its reason on the page, which keeps what was typed and saves it once the store is mended."""
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-patient")).to_contain_text("Not saved")
    expect(page.locator("#trouble")).to_contain_text(reason)
    expect(page.locator("#trouble")).to_contain_text("Nothing of this was changed")
    expect(page.locator("#f-age_years")).to_have_value("71")
    mend()
    expect(page.locator("#saved-patient")).to_have_text(re.compile("^Saved"))
    expect(page.locator("#trouble")).to_be_empty()
    case = store.find_case("A-104", "left")
    assert case is not None and store.version(case.id).findings == {"age_years": 71}
    store.verify()


def test_the_page_says_that_the_disk_is_full(tmp_path: Path, opened: Opened) -> None:
    """SQLite's own limit of pages gives the error that a full disk does (SQLITE_FULL, sqlite.org/rescode.html)."""
    store = staffed(f"sqlite:///{tmp_path / 'planner.db'}")
    page, engine = opened(store), engine_of(store._database)

    def no_more_pages(connection: Any, *_: object) -> None:
        [pages] = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}").close()

    # The room that is free within the last pages is used up first, by a case with less in it than the page's.
    other = store.new_case({"case": "B-1", "eye": "left"}, "trainee-5").case_id
    event.listen(engine, "connect", no_more_pages)
    engine.dispose()
    with contextlib.suppress(StoreUnavailableError):
        for number in range(1, 200):
            store.save_case(other, number, {"iop_mmhg": number % 2}, "trainee-5")

    def make_room() -> None:
        event.remove(engine, "connect", no_more_pages)
        engine.dispose()

    _fails_and_comes_back(page, store, "the disk, or the database, is full", make_room)
    store.close()


@pytest.mark.long
def test_the_page_says_that_the_database_is_locked(
    tmp_path: Path, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "WAIT_SECONDS", 1)
    store = staffed(f"sqlite:///{tmp_path / 'planner.db'}")
    page = opened(store)
    other = sqlite3.connect(tmp_path / "planner.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    # Whoever only reads waits for nobody.
    page.goto("/cases")
    page.goto(FORM)
    _fails_and_comes_back(page, store, "somebody else has been writing", lambda: other.execute("ROLLBACK"))
    other.close()
    store.close()


@pytest.mark.long
def test_the_page_saves_once_a_stopped_database_server_runs_again(postgres: Cluster, opened: Opened) -> None:
    store = staffed(postgres.url(postgres.new_database()))
    page = opened(store)
    postgres.stop()
    try:
        elsewhere = page.context.new_page()
        for path in ("/cases", FORM, "/sign-in"):
            answer = elsewhere.goto(path)
            assert answer is not None and answer.status == 503, path
            expect(elsewhere.locator("main")).to_contain_text("The records cannot be reached")
    except BaseException:
        postgres.start()
        raise
    _fails_and_comes_back(page, store, "cannot be reached", postgres.start)
    store.close()


@pytest.mark.long
def test_a_save_whose_answer_is_lost_on_its_way_is_saved_once(tmp_path: Path, opened: Opened) -> None:
    """The server kept it and the page cannot know: sent again, it is neither a second version nor a conflict."""
    store = staffed(f"sqlite:///{tmp_path / 'planner.db'}")
    page, lost = opened(store), []

    def lose(route: Route) -> None:
        lost.append(route.fetch().status)
        route.abort()

    page.route(f"**{FORM}", lose, times=1)
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-patient")).to_contain_text("Not saved: the server did not answer")
    case = store.find_case("A-104", "left")
    assert case is not None and lost == [200] and store.version(case.id).findings == {"age_years": 71}
    expect(page.locator("#saved-patient")).to_have_text(re.compile("^Saved"))
    page.fill("#f-iop_mmhg", "18")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-pressure-and-chamber")).to_have_text(re.compile("^Saved"))
    expect(page.locator("#conflict")).to_be_empty()
    kept = [dict(version.findings) for version in store.versions(case.id)]
    assert kept == [{}, {"age_years": 70}, {"age_years": 71}, {"age_years": 71, "iop_mmhg": 18}]
    store.close()


def test_typing_on_after_a_lost_answer_is_no_conflict_with_oneself(tmp_path: Path, opened: Opened) -> None:
    store = staffed(f"sqlite:///{tmp_path / 'planner.db'}")
    page = opened(store)

    def lose(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route(f"**{FORM}", lose, times=1)
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-patient")).to_contain_text("Not saved: the server did not answer")
    page.fill("#f-iop_mmhg", "18")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-pressure-and-chamber")).to_have_text(re.compile("^Saved"))
    case = store.find_case("A-104", "left")
    assert case is not None and store.version(case.id).findings == {"age_years": 71, "iop_mmhg": 18}
    expect(page.locator("#conflict")).to_be_empty()
    store.close()


def test_what_is_there_is_read_while_nobody_can_write(
    tmp_path: Path, rulebook: Rulebook, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading notes when a session was last used, and enters approvals that lapsed: neither may stand in the way."""
    monkeypatch.setattr(database, "WAIT_SECONDS", 0)
    url = f"sqlite:///{tmp_path / 'planner.db'}"
    staffed(url).close()
    store = Store.open(url, clock=clock)
    every_state(store, rulebook, None, clock().date())
    app = make_app(
        Desk(store, rulebook, None, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
    )
    # Long after the approvals, so that they have lapsed and nobody has entered it yet.
    clock.forward(days=400)
    visit = Visit(app)
    assert visit.sign_in("consultant-1") == 303
    clock.forward(minutes=29)
    before = store.verify()
    other = sqlite3.connect(tmp_path / "planner.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for page in ("/cases", "/approvals", "/lists", f"/cases/{APPROVED}/left", f"/approvals/{SENT_BACK}/left"):
        assert visit.get(page).status_code == 200, page
    assert "Lapsed" in visit.get("/approvals").text
    clock.forward(minutes=2)
    # The time that could not be noted does not lengthen the session.
    assert visit.get("/cases").status_code == 303
    other.execute("ROLLBACK")
    other.close()
    assert store.verify() == before
    store.close()


def test_a_store_that_goes_away_under_a_page_is_said(
    app: FastAPI, store: Store, signed_in: Callable[[str], Visit], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page that says so is made without the store, too."""
    visit = signed_in("trainee-3")

    def gone(*_: object, **__: object) -> None:
        raise StoreUnavailableError.one("cannot be reached", "invented")

    for name in ("cases", "notices"):
        monkeypatch.setattr(store, name, gone)
    answer = visit.get("/cases")
    assert answer.status_code == 503 and "The records cannot be reached" in answer.text
    assert answer.headers["content-security-policy"] == CONTENT_POLICY
