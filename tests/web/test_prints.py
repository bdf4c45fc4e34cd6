"""Printing from the browser: the wait and its page, a print that fails, and real servers with prints under way."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import awkward_prints
import httpx
import pytest
from playwright.sync_api import Page, expect
from seen_by_axe import PHONE, faults
from served import serving, signed_in, staffed
from visits import Visit

from planner.documents.printing import queue
from planner.documents.printing.queue import PrintQueue
from planner.records.store import Store
from planner.web.cases import plan as plan_page
from planner.web.server import printing

SignIn = Callable[[str], Visit]
BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
PDF = "/cases/A-104/left/plan.pdf"


@pytest.fixture
def prints() -> Iterator[PrintQueue]:
    """A queue of the test's own, for it to keep busy and to end."""
    queue = PrintQueue(1)
    yield queue
    queue.end()


@pytest.fixture
def trainee(store: Store, signed_in: SignIn) -> Visit:
    store.new_case({"case": "A-104", "eye": "left"}, "trainee-3")
    return signed_in("trainee-3")


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Set nothing, and keep a browser waiting for a tenth of a second only."""
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.blank)
    monkeypatch.setattr(printing, "FIRST", 0.1)
    monkeypatch.setattr(printing, "LATER", 0.1)
    monkeypatch.setattr(queue, "TO_COME", 60)


def address_of(page: httpx.Response) -> str:
    """Where the waiting page goes by itself."""
    found = re.fullmatch(r"(\d+); url=(\S+)", page.headers["refresh"])
    assert found, page.headers
    return found[2]


@pytest.mark.usefixtures("quick")
def test_whoever_waits_is_told_how_many_are_before_and_ends_with_the_pdf(
    trainee: Visit, prints: PrintQueue, store: Store, tmp_path: Path
) -> None:
    one, two = (prints.order(awkward_prints.held, str(tmp_path / name)) for name in ("one", "two"))
    store.new_case({"case": "A/103", "eye": "left"}, "trainee-3")
    page = trainee.get("/cases/A%2F103/left/plan.pdf", headers=BROWSER)
    assert page.status_code == 202 and "<strong>2 prints</strong> are before yours" in page.text
    back = re.search(r'href="([^"]+)">Give it up', page.text)
    assert back and trainee.get(back[1]).status_code == 200
    (tmp_path / "one").touch()
    one.outcome.result(60)
    page = trainee.get(address_of(page), headers=BROWSER)
    assert page.status_code == 202 and "<strong>1 print</strong> is before yours" in page.text
    (tmp_path / "two").touch()
    two.outcome.result(60)
    while page.status_code == 202:
        page = trainee.get(address_of(page), headers=BROWSER)
    assert page.headers["content-type"] == "application/pdf" and page.content == b"%PDF"


@pytest.mark.usefixtures("quick")
def test_a_program_is_kept_waiting_for_the_pdf(trainee: Visit, prints: PrintQueue, tmp_path: Path) -> None:
    prints.order(awkward_prints.held, str(tmp_path / "one"))
    threading.Timer(1, (tmp_path / "one").touch).start()
    answer = trainee.get(PDF, headers={"Accept": "application/pdf"})
    assert (answer.status_code, answer.content) == (200, b"%PDF")


@pytest.mark.usefixtures("quick")
def test_a_ticket_is_for_one_person_one_address_and_one_print(
    trainee: Visit,
    signed_in: SignIn,
    prints: PrintQueue,
    store: Store,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    blocked = prints.order(awkward_prints.held, str(tmp_path / "one"))
    again = address_of(trainee.get(PDF, headers=BROWSER))
    # What is asked for afresh from here on is another print.
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.other)
    store.new_case({"case": "A-105", "eye": "left"}, "trainee-3")
    (tmp_path / "one").touch()
    blocked.outcome.result(60)
    assert signed_in("consultant-1").get(again).content == b"%PDF other"
    assert trainee.get(again.replace("A-104", "A-105")).content == b"%PDF other"
    assert trainee.get(again).content == b"%PDF"
    assert trainee.get(again).content == b"%PDF other", "an address kept for later gives the plan of later"


def test_a_print_that_cannot_be_made_is_a_clear_error_and_the_server_lives(
    trainee: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    for makes, words in (
        (awkward_prints.dies, "the print could not be made"),
        (awkward_prints.refuses, "the page cannot be set"),
    ):
        monkeypatch.setattr(plan_page, "render_pdf", makes)
        answer = trainee.get(PDF, headers={"Accept": "*/*"})
        assert answer.status_code == 500 and "Nothing was printed" in answer.text and words in answer.text
        assert "Nothing was changed or lost" in answer.text
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.faulty)
    answer = trainee.get(PDF)
    assert answer.status_code == 500 and "Something went wrong in the program" in answer.text
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.blank)
    assert trainee.get(PDF).content == b"%PDF"


@pytest.mark.usefixtures("quick")
def test_too_many_prints_and_a_server_that_ends_are_said(trainee: Visit, prints: PrintQueue, tmp_path: Path) -> None:
    prints.longest = 1
    one = prints.order(awkward_prints.held, str(tmp_path / "one"))
    deadline = time.monotonic() + 60
    while prints.ahead(one) is not None and time.monotonic() < deadline:
        time.sleep(0.01)
    prints.order(awkward_prints.told, "two")
    full = trainee.get(PDF)
    assert full.status_code == 503 and "too many prints wait already" in full.text and full.headers["retry-after"]
    prints.end()
    ended = trainee.get(PDF)
    assert ended.status_code == 503 and "the server is being stopped" in ended.text


@pytest.mark.usefixtures("quick")
def test_the_waiting_page_on_a_phone_comes_back_without_scripts(
    store: Store,
    opened: Callable[..., Page],
    prints: PrintQueue,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    store.new_case({"case": "A-104", "eye": "left"}, "trainee-3")
    page = opened("trainee-3", PHONE, scripts=True)
    prints.order(awkward_prints.held, str(tmp_path / "one"))
    monkeypatch.setattr(printing, "COMES_BACK", 600)  # to look at it meanwhile
    page.goto(PDF)
    main = page.locator("main")
    expect(main).to_contain_text("1 print is before yours.", use_inner_text=True)
    assert list(faults(page, "waiting")) == []
    page.emulate_media(media="print")
    expect(main).to_contain_text("This sheet is not the print.", use_inner_text=True)
    expect(main).not_to_contain_text("comes back by itself", use_inner_text=True)
    monkeypatch.setattr(printing, "COMES_BACK", 1)
    page = opened("trainee-3", PHONE)
    with page.expect_response(lambda answer: answer.status == 200 and "waiting=" in answer.url) as made:
        page.goto(PDF)
        (tmp_path / "one").touch()
    assert made.value.headers["content-type"] == "application/pdf"


# Real servers, which print real plans.

CASES = [f"A-{number}" for number in range(101, 104)]


@pytest.fixture
def url(tmp_path: Path) -> str:
    made = f"sqlite:///{tmp_path / 'planner.db'}"
    store = staffed(made)
    for reference in CASES:
        store.new_case({"case": reference, "eye": "left"}, "trainee-3")
    store.close()
    return made


def printers(server: subprocess.Popen[str]) -> list[int]:
    """The print processes that a server has started and that still run."""
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text("ascii", "replace").rpartition(")")[2].split()
            command = (status.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if int(fields[1]) == server.pid and fields[0] != "Z" and b"planner.documents.printing.process" in command:
            found.append(int(status.parent.name))
    return found


def one_printing(server: subprocess.Popen[str]) -> int:
    deadline = time.monotonic() + 60
    while not (found := printers(server)) and time.monotonic() < deadline:
        time.sleep(0.02)
    return found[0]


def ended(process: int, seconds: float = 10) -> bool:
    deadline = time.monotonic() + seconds
    while Path(f"/proc/{process}").exists() and time.monotonic() < deadline:
        time.sleep(0.02)
    return not Path(f"/proc/{process}").exists()


@pytest.mark.long
def test_many_at_once_a_worker_killed_meanwhile_and_readers_who_left(url: str, tmp_path: Path) -> None:
    with serving(url, tmp_path) as (address, server), closing(signed_in(address, "trainee-3")) as visit:
        visit.timeout = httpx.Timeout(300)
        # They ask first, and go away before anything is made.
        for reference in CASES:
            with pytest.raises(httpx.ReadTimeout):
                visit.get(f"/cases/{reference}/left/plan.pdf", timeout=0.05)
        with ThreadPoolExecutor(8) as pool:
            asked = [pool.submit(visit.get, f"/cases/{CASES[n % 3]}/left/plan.pdf") for n in range(8)]
            os.kill(one_printing(server), signal.SIGKILL)
            assert visit.get("/cases").status_code == 200
            answers = [each.result() for each in asked]
        assert [(answer.status_code, answer.content[:4]) for answer in answers] == [(200, b"%PDF")] * 8
        assert len({answer.content for answer in answers}) == 3, "the same print is the same bytes"
        os.kill(one_printing(server), signal.SIGSTOP)
        kept = visit.get(f"/cases/{CASES[0]}/left/plan.pdf", timeout=20)
        assert kept.content == answers[0].content, "from what is kept, since nothing can be made now"
        assert server.poll() is None


@pytest.mark.parametrize("how", [signal.SIGKILL, pytest.param(signal.SIGTERM, marks=pytest.mark.long)])
@pytest.mark.long
def test_a_server_that_ends_leaves_no_process_behind(url: str, tmp_path: Path, how: signal.Signals) -> None:
    with serving(url, tmp_path) as (address, server), closing(signed_in(address, "trainee-3")) as visit:
        told: list[httpx.Response | httpx.HTTPError] = []

        def ask(reference: str) -> None:
            try:
                told.append(visit.get(f"/cases/{reference}/left/plan.pdf"))
            except httpx.HTTPError as error:
                told.append(error)

        asking = [threading.Thread(target=ask, args=[reference]) for reference in CASES]
        for thread in asking:
            thread.start()
        process = one_printing(server)
        time.sleep(0.3)
        server.send_signal(how)
        server.wait(20)
        assert ended(process)
        for thread in asking:
            thread.join(20)
        if how == signal.SIGTERM:
            answers = [answer for answer in told if isinstance(answer, httpx.Response)]
            assert answers and all(answer.status_code == 503 for answer in answers), told
            assert all("the server is being stopped" in answer.text for answer in answers)
