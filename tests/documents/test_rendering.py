"""Prints made outside the process that asks: real processes, that die, hang and are killed."""

from __future__ import annotations

import datetime
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import awkward_prints
import pytest

from planner.documents.card.sheet import render_card
from planner.documents.debrief.sheet import render_debrief
from planner.documents.papers.sheet import Place, render_papers
from planner.documents.printing import queue as print_queue
from planner.documents.printing.pdf import render_pdf
from planner.documents.printing.process import NICER, FaultInPrintError
from planner.documents.printing.queue import NoPrintsNowError, PrintError, PrintJob, PrintQueue
from planner.errors import PlannerError
from planner.plan.plan import Plan

PATIENCE = 120


@pytest.fixture(autouse=True)
def slow_to_come(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody here stands at the queue, so what was ordered is wanted for as long as a busy machine may take."""
    monkeypatch.setattr(print_queue, "TO_COME", PATIENCE)


@pytest.fixture
def queue() -> Iterator[PrintQueue]:
    made = PrintQueue(1)
    yield made
    made.end()


def outcome(job: PrintJob) -> object:
    return job.outcome.result(PATIENCE)


def until(holds: Callable[[], bool], seconds: float = 30) -> bool:
    """Whether it holds before so much time is over."""
    end = time.monotonic() + seconds
    while not holds() and time.monotonic() < end:
        time.sleep(0.02)
    return holds()


def runs(process: int) -> bool:
    """Whether there is such a process that has not ended; one that ended and is not yet fetched has."""
    try:
        return Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_a_plan_is_the_same_as_made_here_and_the_second_time_comes_from_what_is_kept(
    queue: PrintQueue, plan_of: Callable[[str], Plan], pdf_of: Callable[[str], bytes]
) -> None:
    made = outcome(queue.order(render_pdf, plan_of("routine")))
    assert made == pdf_of("routine")
    (process,) = queue.process_ids()
    os.kill(process, 9)
    again = queue.order(render_pdf, plan_of("routine"))
    assert again.outcome.done() and outcome(again) == made


def test_card_debrief_and_papers_go_the_same_way(queue: PrintQueue, plan_of: Callable[[str], Plan]) -> None:
    plan, place = plan_of("routine"), Place("Theatre 1", 1, "A-1", "right", "trainee-1", "consultant-1")
    jobs = [
        queue.order(render_card, plan),
        queue.order(render_debrief, plan),
        queue.order(render_papers, datetime.date(2026, 12, 3), [(place, plan)], [], "2026-12-02T18:00"),
    ]
    made = [outcome(job) for job in jobs]
    assert all(isinstance(each, bytes) and each.startswith(b"%PDF") for each in made) and len(set(made)) == 3


def test_a_process_that_dies_is_replaced_and_its_print_tried_again(queue: PrintQueue, tmp_path: Path) -> None:
    assert outcome(queue.order(awkward_prints.dies_once, str(tmp_path))) == b"%PDF"


def test_a_process_killed_in_the_midst_of_a_print(queue: PrintQueue, tmp_path: Path) -> None:
    job = queue.order(awkward_prints.noted, str(tmp_path), "text", 1.0)
    assert until(lambda: any(tmp_path.iterdir()))
    os.kill(queue.process_ids()[0], 9)
    assert outcome(job) == b"text" and len(list(tmp_path.iterdir())) == 2


def test_a_process_killed_between_prints(queue: PrintQueue) -> None:
    assert outcome(queue.order(awkward_prints.told, "one")) == b"one"
    (process,) = queue.process_ids()
    os.kill(process, 9)
    assert until(lambda: not runs(process))
    assert outcome(queue.order(awkward_prints.told, "two")) == b"two"


def test_a_print_that_ends_every_process_is_one_clear_error_and_the_next_is_made(queue: PrintQueue) -> None:
    refused = outcome(queue.order(awkward_prints.dies))
    assert isinstance(refused, PrintError)
    assert "could not be made" in str(refused) and "signal 6; tried again, it ended by itself" in str(refused)
    assert outcome(queue.order(awkward_prints.told, "next")) == b"next"


@pytest.mark.long
def test_a_print_that_hangs_is_given_up_and_the_next_is_made() -> None:
    queue = PrintQueue(1, limit=3)
    try:
        refused = outcome(queue.order(awkward_prints.hangs))
        assert isinstance(refused, PrintError) and "hung for 3 s; tried again, it hung for 3 s" in str(refused)
        queue.limit = 60
        assert outcome(queue.order(awkward_prints.told, "next")) == b"next"
    finally:
        queue.end()


@pytest.mark.long
def test_a_print_that_works_without_end_is_given_up() -> None:
    queue = PrintQueue(1, limit=3)
    try:
        refused = outcome(queue.order(awkward_prints.works_on))
        assert isinstance(refused, PrintError) and "hung for 3 s" in str(refused)
    finally:
        queue.end()


@pytest.mark.long
def test_a_print_that_is_slow_and_gets_on_is_made() -> None:
    """As on a busy machine: a tenth of the processor, for longer than one may work or stand still."""
    queue = PrintQueue(1, limit=2)
    try:
        assert outcome(queue.order(awkward_prints.gets_on, 4.0)) == b"%PDF"
    finally:
        queue.end()


def test_a_page_that_is_refused_and_a_fault_of_the_program(queue: PrintQueue) -> None:
    refused = outcome(queue.order(awkward_prints.refuses))
    assert type(refused) is PlannerError and str(refused) == "plan: the page cannot be set"
    fault = outcome(queue.order(awkward_prints.faulty))
    assert isinstance(fault, FaultInPrintError) and "ZeroDivisionError: a fault of the program" in str(fault)
    assert len(queue.process_ids()) == 1, "neither ends the process"


def test_one_at_a_time_in_the_order_asked_for_and_the_same_print_once(queue: PrintQueue, tmp_path: Path) -> None:
    names = ["c", "a", "b", "a"]
    jobs = [queue.order(awkward_prints.noted, str(tmp_path), name, 0.5) for name in names]
    assert jobs[1] is jobs[3]
    assert until(lambda: queue.ahead(jobs[0]) is None)
    assert [queue.ahead(job) for job in jobs] == [None, 1, 2, 1]
    assert [outcome(job) for job in jobs] == [b"c", b"a", b"b", b"a"]
    begun = sorted(tmp_path.iterdir(), key=lambda path: int(path.name[2:]))
    assert [path.name[0] for path in begun] == ["c", "a", "b"]


def test_as_many_processes_as_said_and_no_more_than_are_needed() -> None:
    queue = PrintQueue(2)
    try:
        assert queue.process_ids() == ()
        assert outcome(queue.order(awkward_prints.told, "alone")) == b"alone"
        assert len(queue.process_ids()) == 1
        jobs = [queue.order(awkward_prints.told, str(n), 0.5) for n in range(5)]
        assert [outcome(job) for job in jobs] == [b"0", b"1", b"2", b"3", b"4"]
        assert len(queue.process_ids()) == 2
        least = os.getpriority(os.PRIO_PROCESS, 0) + NICER
        assert all(os.getpriority(os.PRIO_PROCESS, process) == min(19, least) for process in queue.process_ids())
    finally:
        queue.end()


def test_one_processor_is_left_to_those_who_read(monkeypatch: pytest.MonkeyPatch) -> None:
    for cores, processes in ((1, 1), (2, 1), (8, 7)):
        monkeypatch.setattr(print_queue, "cores", lambda cores=cores: cores)
        assert PrintQueue().processes == processes


def test_a_print_that_nobody_waits_for_is_not_made(
    queue: PrintQueue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(print_queue, "TO_COME", 0.05)
    first = queue.order(awkward_prints.told, "first", 1.0)
    with queue.waited_for(first):
        gone = queue.order(awkward_prints.noted, str(tmp_path), "gone")
        back = queue.order(awkward_prints.noted, str(tmp_path), "back")
        assert queue.kept_for(back, 60)
        time.sleep(0.1)
        assert queue.ahead(back) == 1, "who is gone is before nobody"
        assert outcome(first) == b"first" and outcome(back) == b"back"
    assert gone.outcome.cancelled() and not queue.kept_for(gone, 60)
    assert [path.name[:4] for path in tmp_path.iterdir()] == ["back"]
    # Whoever asks for it after all is not shown what was given up.
    assert outcome(queue.order(awkward_prints.noted, str(tmp_path), "gone")) == b"gone"


def test_the_queue_has_a_bound() -> None:
    queue = PrintQueue(1, longest=2)
    try:
        first = queue.order(awkward_prints.told, "0", 1.0)
        assert until(lambda: queue.ahead(first) is None)
        jobs = [queue.order(awkward_prints.told, str(n)) for n in (1, 2)]
        with pytest.raises(NoPrintsNowError, match="too many prints wait already"):
            queue.order(awkward_prints.told, "3")
        assert queue.order(awkward_prints.told, "2") is jobs[1], "what waits already takes no room"
        assert [outcome(job) for job in jobs] == [b"1", b"2"]
    finally:
        queue.end()


def test_what_is_kept_has_a_bound_in_bytes() -> None:
    queue = PrintQueue(1, kept_bytes=25)
    try:
        for letter in "abac":
            outcome(queue.order(awkward_prints.told, letter * 10))
        kept = {letter: queue.order(awkward_prints.told, letter * 10).outcome.done() for letter in "acb"}
        assert kept == {"a": True, "c": True, "b": False}, "what was longest not asked for went"
        outcome(queue.order(awkward_prints.told, "d" * 26))
        assert not queue.order(awkward_prints.told, "d" * 26).outcome.done(), "larger than all that is kept"
    finally:
        queue.end()


def test_templates_that_change_make_another_print(
    queue: PrintQueue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "plan.css").write_text("one")
    monkeypatch.setattr(print_queue, "templates_folder", lambda: tmp_path)
    outcome(queue.order(awkward_prints.told, "text"))
    assert queue.order(awkward_prints.told, "text").outcome.done()
    (tmp_path / "plan.css").write_text("another")
    assert not queue.order(awkward_prints.told, "text").outcome.done()


def test_at_the_end_whoever_waits_is_told_and_no_process_is_left() -> None:
    queue = PrintQueue(1)
    made = queue.order(awkward_prints.told, "made")
    outcome(made)
    (process,) = queue.process_ids()
    jobs = [queue.order(awkward_prints.hangs), queue.order(awkward_prints.told, "waits")]
    queue.end()
    assert not runs(process)
    for job in jobs:
        told = outcome(job)
        assert isinstance(told, NoPrintsNowError) and "being stopped" in str(told)
    with pytest.raises(NoPrintsNowError, match="being stopped"):
        queue.order(awkward_prints.told, "late")
    queue.end()


OWNER = """
import sys, time
import awkward_prints
from planner.documents.printing.queue import PrintQueue
queue = PrintQueue(1)
queue.order(awkward_prints.noted, sys.argv[1], "begun", 3600.0)
while not queue.process_ids():
    time.sleep(0.01)
print(queue.process_ids()[0], flush=True)
time.sleep(3600)
"""


@pytest.mark.parametrize("signal", [9, 15])
def test_a_process_ends_with_whoever_started_it_in_the_midst_of_a_print_too(tmp_path: Path, signal: int) -> None:
    path = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    owner = [sys.executable, "-c", OWNER, str(tmp_path)]
    with subprocess.Popen(owner, env=path, stdout=subprocess.PIPE, text=True) as started:
        assert started.stdout is not None
        process = int(started.stdout.readline())
        assert until(lambda: any(tmp_path.iterdir())) and runs(process)
        started.send_signal(signal)
        started.wait(20)
        assert until(lambda: not runs(process))
