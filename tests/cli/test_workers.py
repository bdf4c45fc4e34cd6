"""Work shared out to processes: the same results in order, few at a time, and nothing left running at any end."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from commands import Ran, case_text, files, table

from planner.batch.progress import bar
from planner.batch.workers import AHEAD, WorkerEndedError, in_order
from planner.documents.printing.queue import cores
from planner.errors import PlannerError

Start = Callable[..., "subprocess.Popen[bytes]"]


def uneven(number: int) -> tuple[int, int]:
    """The number and who made it; the first of every five takes longest."""
    time.sleep(0.05 if number % 5 == 0 else 0.001)
    if number % 7 == 3:
        raise PlannerError.one(f"no {number}")
    return number, os.getpid()


def odd_only(number: int) -> int | None:
    if number % 11 == 5:
        raise PlannerError.one(f"not {number}")
    return number if number % 4 else None


def told(processes: int) -> list[tuple[int, int | None, str]]:
    outcomes = in_order(range(60), odd_only, uneven, processes)
    return [(o.given, o.made and o.made[0], str(o.error or "")) for o in outcomes]


@pytest.mark.parametrize("processes", [2, 3])
def test_processes_give_what_one_gives_in_order(processes: int) -> None:
    alone = told(1)
    assert [given for given, _, _ in alone] == list(range(60))
    assert {bool(error) for _, _, error in alone} == {True, False}
    assert told(processes) == alone


def test_the_work_is_done_elsewhere_by_as_many_as_said() -> None:
    makers = {o.made[1] for o in in_order(range(60), lambda n: n if n % 7 != 3 else None, uneven, 3) if o.made}
    assert len(makers) == 3 and os.getpid() not in makers
    assert running() == set()


def test_no_more_is_asked_for_than_a_little_ahead() -> None:
    asked = 0

    def things() -> Iterator[int]:
        nonlocal asked
        while asked < 1000:
            asked += 1
            yield asked

    outcomes = in_order(things(), lambda n: n, lambda n: b"x" * 100_000, 2)
    for given in range(1, 30):
        assert next(outcomes).given == given
        assert asked <= given + AHEAD * 2
    outcomes.close()
    assert running() == set()


def test_a_killed_worker_is_one_clear_error_and_ends_the_rest() -> None:
    def make(number: int) -> int:
        if number == 20:
            os.kill(os.getpid(), signal.SIGKILL)
        return number

    done: list[int] = []
    with pytest.raises(WorkerEndedError, match=r"a worker process was ended from outside \(signal 9\); try: "):
        done.extend(outcome.given for outcome in in_order(range(1000), lambda n: n, make, 2))
    assert running() == set()


def test_a_fault_of_the_program_keeps_its_traceback() -> None:
    with pytest.raises(RuntimeError, match=r"(?s)in a worker process:.*ZeroDivisionError"):
        list(in_order(range(5), lambda n: n, lambda n: n // 0, 2))
    assert running() == set()


@pytest.fixture(autouse=True)
def earlier(monkeypatch: pytest.MonkeyPatch) -> None:
    """Takes what tests of other files have started, a browser's driver or a server, out of what is counted."""
    monkeypatch.setattr(f"{__name__}.EARLIER", children())


EARLIER: set[int] = set()


def running() -> set[int]:
    """Processes that this test has started and that still run."""
    return children() - EARLIER


def children() -> set[int]:
    found = subprocess.run(["ps", "-o", "pid=,comm=", "--ppid", str(os.getpid())], capture_output=True, text=True)
    return {int(line.split()[0]) for line in found.stdout.splitlines() if line.split()[1] != "ps"}


# -- the command ------------------------------------------------------------------------------------------------------

needs_cores = pytest.mark.skipif(cores() < 2, reason="one core")


@needs_cores
@pytest.mark.long
def test_many_plans_are_the_bytes_of_each_alone(planner: Callable[..., Ran], folder: Path) -> None:
    rows = [{"case": "A-1"}, {"case": "A-2", "cortex": "bad"}, {"case": "A-3", "eye": "left", "dilated_pupil_mm": "4"}]
    (folder / "list.csv").write_text(table(*rows))
    ran = planner("plan", "list.csv", "-o", "out/")
    assert "1 of 3 cases set aside" in ran.error
    for row in (rows[0], rows[2]):
        (folder / "one.csv").write_text(table(row))
        assert planner("plan", "one.csv", "-o", "one.pdf").code == 0
        alone = (folder / "one.pdf").read_bytes()
        assert (folder / "out" / f"{row['case']}-{row.get('eye', 'right')}.pdf").read_bytes() == alone


@needs_cores
def test_json_of_many_comes_in_the_order_of_the_cases(
    planner: Callable[..., Ran], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(120))))
    shared = planner("plan", "list.csv", "--format", "json")
    monkeypatch.setattr("planner.batch.batch.cores", lambda: 1)
    alone = planner("plan", "list.csv", "--format", "json")
    assert shared.code == alone.code == 0
    assert shared.out == alone.out and len(alone.out.splitlines()) == 120


def started_batch(folder: Path, process: Start) -> tuple[subprocess.Popen[bytes], list[int]]:
    """A batch of PDFs under way, its first plan written, and the processes that work for it."""
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(1, 60))))
    begun = process("plan", "list.csv", "-o", "out/")
    deadline = time.monotonic() + 120
    while not list(folder.glob("out/*.pdf")) and time.monotonic() < deadline:
        time.sleep(0.02)
    found = subprocess.run(["ps", "-o", "pid=", "--ppid", str(begun.pid)], capture_output=True, text=True)
    return begun, [int(pid) for pid in found.stdout.split()]


def whole_plans_only(folder: Path) -> bool:
    plans = list((folder / "out").iterdir())
    return bool(plans) and all(
        re.fullmatch(r"A-\d+-right\.pdf", plan.name) and plan.read_bytes().rstrip().endswith(b"%%EOF") for plan in plans
    )


def gone(pids: list[int]) -> bool:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        if not any(Path(f"/proc/{pid}").exists() for pid in pids):
            return True
        time.sleep(0.05)
    return False


@needs_cores
@pytest.mark.long
def test_a_batch_whose_worker_is_killed_says_so_and_leaves_whole_plans(folder: Path, process: Start) -> None:
    begun, workers = started_batch(folder, process)
    assert len(workers) == cores()
    os.kill(workers[0], signal.SIGKILL)
    _, said = begun.communicate(timeout=120)
    assert begun.returncode == 1
    assert said.decode().splitlines()[-1].startswith("error: batch: a worker process was ended from outside (signal 9)")
    assert b"Traceback" not in said and said.count(b"error:") == 1
    assert whole_plans_only(folder) and gone(workers)


@needs_cores
@pytest.mark.parametrize(
    "end", [signal.SIGKILL, *(pytest.param(end, marks=pytest.mark.long) for end in (signal.SIGINT, signal.SIGTERM))]
)
@pytest.mark.long
def test_no_worker_outlives_its_batch(end: signal.Signals, folder: Path, process: Start) -> None:
    begun, workers = started_batch(folder, process)
    begun.send_signal(end)
    _, said = begun.communicate(timeout=120)
    assert begun.returncode == (130 if end is signal.SIGINT else -end)
    assert b"Traceback" not in said
    assert whole_plans_only(folder) and gone(workers)


def test_the_bar_fits_its_terminal() -> None:
    assert bar(57, 200, 70) == f"[{'#' * 11}{'.' * 29}]  57 of 200 cases, 143 left"
    for columns in (100, 70, 40, 30, 20, 5, 0):
        assert len(bar(57, 200, columns)) <= columns
    assert bar(57, 200, 30) == " 57 of 200 cases, 143 left"
    assert bar(200, 200, 60).startswith(f"[{'#' * 30}") and "." not in bar(200, 200, 60)


def test_a_case_alone_starts_no_process(planner: Callable[..., Ran], folder: Path, monkeypatch: object) -> None:
    (folder / "case.yaml").write_text(case_text())

    def refuse(*_: object) -> None:
        raise AssertionError("a process was started")

    monkeypatch.setattr("planner.batch.workers._WorkerPool", refuse)  # type: ignore[attr-defined]
    assert planner("plan", "case.yaml", "-o", "plan.pdf").code == 0
    assert files(folder) == {"case.yaml", "plan.pdf"}
