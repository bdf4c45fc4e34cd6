"""A store with one person of each role, the application over it, and a clock that tests may put forward."""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, expect
from private_postgres import NOT_INSTALLED, Cluster, cluster, programs
from seen_by_axe import DESK
from served import UNIT, coming_sessions, pool_entered, staffed
from visits import CHEAP, Clock, Visit, sign_in

from planner.desk.desk import Desk
from planner.documents.printing.queue import PrintQueue
from planner.lists.roster.shapes import Roster
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

# The machine that runs the tests may be busy.
PATIENCE = 60_000  # milliseconds
expect.set_options(timeout=PATIENCE)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """One person of each role and no case; the demonstration's pool too for tests marked `with_lists`."""
    url = f"sqlite:///{tmp_path / 'planner.db'}"
    if request.node.get_closest_marker("with_lists"):
        shutil.copyfile(request.getfixturevalue("pool"), tmp_path / "planner.db")
        opened = Store.open(url, clock=clock)
    else:
        opened = staffed(url, clock)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def pool(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the demonstration's pool of cases, approved and without a place; to be copied."""
    path = tmp_path_factory.mktemp("pool") / "planner.db"
    opened = staffed(f"sqlite:///{path}")
    pool_entered(opened, rulebook)
    opened.close()
    return path


@pytest.fixture
def roster(request: pytest.FixtureRequest, rulebook: Rulebook) -> Roster | None:
    """The sessions file that the server is given: the demonstration's for tests marked `with_lists`, else none."""
    return coming_sessions(rulebook) if request.node.get_closest_marker("with_lists") else None


@pytest.fixture(scope="session")
def prints() -> Iterator[PrintQueue]:
    """One for all tests, since a process takes a second to start."""
    queue = PrintQueue(1)
    yield queue
    queue.end()


@pytest.fixture(scope="session")
def pool_desk(pool: Path, rulebook: Rulebook) -> Iterator[Desk]:
    """A desk over the pool that has planned every case of it."""
    store = Store.open(f"sqlite:///{pool}")
    desk = Desk(store, rulebook, read_unit(UNIT, rulebook))
    for now in store.cases():
        desk.plans.planned(now.version)
    yield desk
    store.close()


@pytest.fixture
def app(
    request: pytest.FixtureRequest,
    store: Store,
    rulebook: Rulebook,
    clock: Clock,
    roster: Roster | None,
    prints: PrintQueue,
) -> FastAPI:
    settings = Settings(secure_cookies=False, clock=clock)
    desk = Desk(store, rulebook, read_unit(UNIT, rulebook), roster, settings.clock)
    if request.node.get_closest_marker("with_lists"):
        # Each of these stores begins as a copy of one pool, and its plans are made once for all of them.
        desk.plans._kept.update(request.getfixturevalue("pool_desk").plans._kept)
    return make_app(desk, settings, Passwords(CHEAP), prints)


@pytest.fixture
def signed_in(app: FastAPI) -> Callable[[str], Visit]:
    def start(code: str) -> Visit:
        visit = Visit(app)
        assert visit.sign_in(code) == 303
        return visit

    return start


@pytest.fixture
def organiser(signed_in: Callable[[str], Visit]) -> Visit:
    return signed_in("organiser-1")


@pytest.fixture
def nobody(app: FastAPI) -> Visit:
    return Visit(app)


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """Where the application really listens, for a real browser."""
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Cluster]:
    if programs() is None:
        pytest.skip(NOT_INSTALLED)
    with cluster() as started:
        yield started


@pytest.fixture
def database_url(postgres: Cluster) -> str:
    """An empty database on it."""
    return postgres.url(postgres.new_database())


@pytest.fixture
def opened(chromium: Browser, address: str) -> Iterator[Callable[..., Page]]:
    """A page of a browser of one's own, signed in; by default on a desk and without scripts."""
    contexts: list[BrowserContext] = []

    def start(person: str, size: tuple[int, int] = DESK, scripts: bool = False) -> Page:
        width, height = size
        context = chromium.new_context(
            viewport={"width": width, "height": height}, base_url=address, java_script_enabled=scripts
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        page.goto("/sign-in")
        sign_in(page, person)
        page.wait_for_url(re.compile("/(cases|lists)$"))
        return page

    yield start
    for context in contexts:
        context.close()
