"""Fifty people at one server: pages read, fields saved, now and then a plan printed."""

from __future__ import annotations

import asyncio
import datetime
import os
import random
import re
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from statistics import median

import httpx
from decisions import DEMO
from every_state import every_state
from served import serving
from visits import CHEAP, PASSWORD

from bench.measure import Line, say
from planner.case_file import case_file
from planner.exchange.case_reader import ReadCase, read_cases
from planner.records.store import Store
from planner.rulebook.load import shipped
from planner.rulebook.rulebook import Rulebook

# Of each five people three prepare cases, one approves and one builds lists.
ROLES = ("trainee", "consultant", "trainee", "organiser", "trainee")
READ = {
    "trainee": ("/cases", "{case}", "{case}/plan"),
    "consultant": ("/approvals", "/approvals/A%2F103/left", "/cases/A-104/right/plan.html", "/cases?whose=all"),
    "organiser": ("/lists", "/cases", "/lists/{day}"),
}
# A trainee saves as often as they read, which is when the form is filled in; a print is the rarest and the dearest.
PRINTS, PATIENCE = 0.005, 60.0


@dataclass
class Times:
    """Seconds of each kind of request, the server's processor time for all of them, and what went wrong."""

    taken: dict[str, list[float]] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    processor: float = 0.0


def run(quick: bool) -> Iterator[Line]:
    """The table's lines: with a pause for reading of 4 s between pages, and without any."""
    users, seconds = (6, 4.0) if quick else (50, 60.0)
    for pause in (0.2 if quick else 4.0, 0.0):
        say(
            f"load: {users} users for {seconds:g} s, {f'a pause of {pause:g} s between pages' if pause else 'no pause'}"
        )
        times = _measured(users, seconds, pause)
        every = [taken for kind in times.taken.values() for taken in kind]
        how = f"{users} users, {f'{pause:g} s pause' if pause else 'no pause'}"
        for kind, taken in [*sorted(times.taken.items()), ("all", every)]:
            slow = sorted(taken)[int(len(taken) * 0.99)]
            rate = f"{len(taken) / seconds:.1f} a second"
            wrong = f", {len(times.errors)} errors" if kind == "all" else ""
            yield Line(how, f"{kind}, {rate}{wrong}", median(taken), "the slow 1 %", slow)
        # Of the server alone, whatever else the machine does meanwhile.
        yield Line(how, "all, the server's processor time for each", times.processor / max(1, len(every)))
        for error in times.errors[:5]:
            say(f"error: {error}")


def _measured(users: int, seconds: float, pause: float) -> Times:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/planner.db"
        people = [(f"{ROLES[n % len(ROLES)]}-{n + 11}", ROLES[n % len(ROLES)]) for n in range(users)]
        store, rulebook = Store.open(url), shipped()
        _enter(store, rulebook, people)
        with serving(url, Path(folder)) as (address, process):
            times = asyncio.run(_all(address, people, seconds, pause, partial(_processor, process.pid)))
        store.verify()
        store.close()
        return times


def _enter(store: Store, rulebook: Rulebook, people: list[tuple[str, str]]) -> None:
    """The demonstration cases, one in each state that pages meet, and one of each trainee's own."""
    hashed = CHEAP.hash(PASSWORD)
    for code, role in [("trainee-3", "trainee"), ("consultant-1", "consultant"), ("organiser-1", "organiser"), *people]:
        store.add_person(code, code, role, "command-line")
        store.set_password_hash(code, hashed, "command-line")
    read = [one for path in sorted(DEMO.glob("*.yaml")) for one in read_cases(str(path), rulebook.vocabulary)]
    documents = [case_file(one.case) for one in read if isinstance(one, ReadCase)]
    for document in documents:
        store.new_case(document, "trainee-3")
    for number, (code, role) in enumerate(people):
        if role == "trainee":
            document = documents[number % len(documents)] | {"case": f"W-{code}", "eye": "left"}
            store.new_case(document, code)
    every_state(store, rulebook, None, datetime.date.today())


async def _all(
    address: str, people: list[tuple[str, str]], seconds: float, pause: float, processor: Callable[[], float]
) -> Times:
    times = Times()
    clients = [httpx.AsyncClient(base_url=address, timeout=PATIENCE) for _ in people]
    for client, (code, _) in zip(clients, people, strict=True):
        token = _hidden("token", (await client.get("/sign-in")).text)
        await client.post("/sign-in", data={"token": token, "code": code, "password": PASSWORD, "next": ""})
    until, before = time.perf_counter() + seconds, processor()
    at_work = [
        _one(client, code, role, until, pause, times, random.Random(code))
        for client, (code, role) in zip(clients, people, strict=True)
    ]
    await asyncio.gather(*at_work)
    times.processor = processor() - before
    for client in clients:
        await client.aclose()
    return times


async def _one(
    client: httpx.AsyncClient, code: str, role: str, until: float, pause: float, times: Times, chance: random.Random
) -> None:
    """One person's work until the time is over; a page that was asked for by then is waited for."""
    case, day = f"/cases/W-{code}/left", datetime.date.today() + datetime.timedelta(weeks=1)
    form = (await client.get(case)).text if role == "trainee" else ""
    await asyncio.sleep(chance.uniform(0, pause))
    while time.perf_counter() < until:
        kind, begun = "reading", time.perf_counter()
        try:
            if chance.random() < PRINTS:
                kind = "printing"
                answer = await client.get("/cases/A-104/right/plan.pdf")
            elif form and chance.random() < 0.5:
                kind = "saving"
                sent = {name: _hidden(name, form) for name in ("token", "based_on")}
                sent["f.iop_mmhg"] = str(chance.randint(8, 30))
                answer = await client.post(case, data=sent, headers={"HX-Request": "true"})
                if based_on := re.search(r'name="based_on"[^>]*value="(\d+)"', answer.text):
                    form = re.sub(r'(name="based_on"[^>]*value=")\d+', rf"\g<1>{based_on[1]}", form)
            else:
                page = chance.choice(READ[role]).format(case=case, day=day)
                answer = await client.get(page)
        except httpx.HTTPError as error:
            times.errors.append(f"{kind}: {error!r}")
            continue
        times.taken.setdefault(kind, []).append(time.perf_counter() - begun)
        if answer.status_code != 200:
            times.errors.append(f"{kind}: {answer.request.url.path} {answer.status_code}")
        await asyncio.sleep(chance.uniform(0.5, 1.5) * pause)


def _processor(process: int) -> float:
    """Seconds of processor time that a process has had, as Linux counts them (proc(5): fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _hidden(name: str, page: str) -> str:
    found = re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)
    assert found, f"the page holds no {name}"
    return found[1]
