"""One person who reads while twenty prints wait: what the pages take, beside the same pages on a quiet server."""

from __future__ import annotations

import re
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
from decisions import DEMO
from served import serving, signed_in, staffed

from bench.measure import Line, say
from planner.case_file import case_file
from planner.exchange.case_reader import ReadCase, read_cases
from planner.rulebook.load import shipped

# A page is asked for this many seconds after the last one came.
PAUSE = 0.1
# The share of pages that the slower time leaves below it.
SLOW = 0.95


def run(quick: bool) -> Iterator[Line]:
    """The table's lines: pages meanwhile, and each print from its asking to its PDF."""
    prints, seconds = (2, 1.0) if quick else (20, 30.0)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/planner.db"
        cases = _enter(url)
        with serving(url, Path(folder)) as (address, _):
            visit = signed_in(address, "trainee-3")
            pages = ["/cases", *(page for case in cases[:3] for page in (case, f"{case}/plan"))]
            for page in pages:
                visit.get(page)  # what a page costs the first time is no affair of the prints
            say(f"prints: pages of a quiet server for {seconds:g} s")
            quiet = _read(visit, pages, threading.Event(), seconds)
            say(f"prints: pages while {prints} prints wait")
            done, taken = threading.Event(), list[float]()
            ordering = threading.Thread(target=_order, args=(visit, cases[:prints], taken, done))
            ordering.start()
            busy = _read(visit, pages, done, 2 * seconds)
            ordering.join()
    yield Line("pages, one user", "the middle one", _at(busy, 0.5), "no prints wait", _at(quiet, 0.5))
    quicker, goal = f"{SLOW:.0%} are quicker", "<= 100 ms"
    yield Line(f"while {prints} prints wait", quicker, _at(busy, SLOW), "no prints wait", _at(quiet, SLOW), goal=goal)
    yield Line("prints asked for at once", f"{prints} of them, the last", max(taken), "the first", min(taken))


def _enter(url: str) -> list[str]:
    """The demonstration's cases; the address of each."""
    rulebook, store = shipped(), staffed(url)
    read = [one for path in sorted(DEMO.glob("*.yaml")) for one in read_cases(str(path), rulebook.vocabulary)]
    cases = [one.case for one in read if isinstance(one, ReadCase)]
    for case in cases:
        store.new_case(case_file(case), "trainee-3")
    store.close()
    # A reference with a sign in it would have to be written otherwise in an address.
    return [f"/cases/{case.reference}/{case.eye}" for case in cases if re.fullmatch(r"[\w-]+", case.reference)]


def _read(visit: httpx.Client, pages: list[str], done: threading.Event, seconds: float) -> list[float]:
    """Seconds of each page, read one after another until it is done or so much time is over."""
    taken, until = list[float](), time.perf_counter() + seconds
    while not done.is_set() and time.perf_counter() < until:
        begun = time.perf_counter()
        assert visit.get(pages[len(taken) % len(pages)]).status_code == 200
        taken.append(time.perf_counter() - begun)
        time.sleep(PAUSE)
    return taken


def _order(visit: httpx.Client, cases: list[str], taken: list[float], done: threading.Event) -> None:
    def print_one(case: str) -> None:
        made = visit.get(f"{case}/plan.pdf", timeout=900)
        assert made.status_code == 200 and made.content.startswith(b"%PDF"), made.text
        taken.append(time.perf_counter() - begun)

    begun = time.perf_counter()
    threads = [threading.Thread(target=print_one, args=[case]) for case in cases]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    done.set()


def _at(taken: list[float], share: float) -> float:
    return sorted(taken)[int(len(taken) * share)]
