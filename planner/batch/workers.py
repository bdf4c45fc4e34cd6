"""Work shared out to processes: results in order, few at a time, and an end that leaves nothing running.

Processes are forked, so that each has the rulebook and the printer as they were loaded. They only make things; what
is read and written stays with this process, so that an end at any moment leaves whole files.
"""

from __future__ import annotations

import signal
import traceback
from collections import deque
from collections.abc import Callable, Generator, Iterable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from typing import Any, Generic, TypeVar

from planner.errors import PlannerError

Given = TypeVar("Given")
# How far the work may run ahead of the oldest result that is still waited for.
AHEAD = 4


class WorkerEndedError(PlannerError):
    """A process ended from outside, so what it worked on is not known to be done."""


@dataclass
class Outcome(Generic[Given]):
    """What came of one thing given, once it is `done`: what was made of it, or the error that kept it from being."""

    given: Given
    made: Any = None
    error: PlannerError | None = None
    done: bool = True


def in_order(
    things: Iterable[Given], task: Callable[[Given], Any], make: Callable[[Any], Any], processes: int
) -> Generator[Outcome[Given], None, None]:
    """An outcome for each thing, in order.

    `task` says, here and in order, what is to be made of a thing, None for nothing; `make` makes it, in as many
    processes as said, or here. Both may refuse with a PlannerError. Raises WorkerEndedError when a process is killed.
    """
    if processes < 2:
        for thing in things:
            given, error = _tried(task, thing)
            made, error = (None, error) if given is None else _tried(make, given)
            yield Outcome(thing, made, error)
        return
    team = _WorkerPool(make, processes)
    try:
        yield from team.outcomes(things, task)
    finally:
        team.end()


def _tried(does: Callable[[Any], Any], thing: Any) -> tuple[Any, PlannerError | None]:
    try:
        return does(thing), None
    except PlannerError as error:
        return None, error


class _WorkerPool:
    def __init__(self, make: Callable[[Any], Any], processes: int) -> None:
        fork = get_context("fork")
        self.members: dict[Connection, Any] = {}
        for _ in range(processes):
            ours, theirs = fork.Pipe()
            # A member closes the ends that it was born with, or none would notice that this process has gone.
            member = fork.Process(target=_work, args=(theirs, [ours, *self.members], make), daemon=True)
            member.start()
            theirs.close()
            self.members[ours] = member

    def outcomes(self, things: Iterable[Given], task: Callable[[Given], Any]) -> Generator[Outcome[Given], None, None]:
        ahead: deque[Outcome[Given]] = deque()  # oldest first
        idle, busy = list[Any](self.members), dict[Any, Outcome[Given]]()
        left = iter(things)
        more = True
        while more or ahead:
            while more and idle and len(ahead) < AHEAD * len(self.members):
                thing = next(left, None)
                if thing is None:
                    more = False
                    break
                given, error = _tried(task, thing)
                ahead.append(Outcome(thing, None, error, done=given is None))
                if given is not None:
                    end = idle.pop()
                    busy[end] = ahead[-1]
                    self._send(end, given)
            while ahead and ahead[0].done:
                yield ahead.popleft()
            if busy and (ahead or more):
                for ready in connection.wait(list(busy)):
                    outcome = busy.pop(ready)
                    outcome.made, outcome.error = self._receive(ready)
                    outcome.done = True
                    idle.append(ready)

    def _send(self, end: Connection, thing: Any) -> None:
        try:
            end.send(thing)
        except OSError:
            raise self._ended(end) from None

    def _receive(self, end: Any) -> tuple[Any, PlannerError | None]:
        try:
            made, error, trace = end.recv()
        except (EOFError, OSError):
            raise self._ended(end) from None
        if trace:
            # A fault of this program, shown as it would be shown without processes.
            raise RuntimeError(f"in a worker process:\n{trace}")
        return made, error

    def _ended(self, end: Connection) -> WorkerEndedError:
        member = self.members[end]
        member.join(1)
        why = f"signal {-member.exitcode}" if (member.exitcode or 0) < 0 else f"exit code {member.exitcode}"
        made = WorkerEndedError.one(
            "a worker process was ended from outside", "batch", why, "again, with fewer programs or more memory"
        )
        assert isinstance(made, WorkerEndedError)
        return made

    def end(self) -> None:
        for end, member in self.members.items():
            member.terminate()
            end.close()
        for member in self.members.values():
            member.join()


def _work(end: Connection, others: list[Connection], make: Callable[[Any], Any]) -> None:
    """Make one thing after another until the other process closes its end."""
    # An interrupt from the keyboard goes to every process; the one that waits decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    for other in others:
        other.close()
    with suppress(EOFError, OSError):
        while True:
            thing = end.recv()
            end.send(_answer(thing, make))


def _answer(thing: Any, make: Callable[[Any], Any]) -> tuple[Any, PlannerError | None, str]:
    try:
        return *_tried(make, thing), ""
    except Exception:
        return None, None, traceback.format_exc()
