"""Where a server has its prints made: a queue, a few processes that each make one at a time, and what was made kept.

Any function that gives a PDF can be ordered: of a plan, a card, a debrief, a brief, lists at a glance, a day's papers.
"""

from __future__ import annotations

import hashlib
import os
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field

from planner import __version__
from planner.documents.printing.process import FaultInPrintError, PrintProcess, ProcessEndedError, order_of
from planner.errors import PlannerError
from planner.shipped import templates_folder

# Seconds that a process may work on one print, its start with it, or stand still. The longest of the demonstration
# takes about 5.
LIMIT = 90.0
# Prints that may wait, and bytes of finished ones that are kept: about 600 plans.
LONGEST = 200
KEPT_BYTES = 64 * 1024 * 1024
TRIES = 2
# Seconds in which whoever ordered a print has to come for it, before it is taken for given up.
TO_COME = 5.0


class PrintError(PlannerError):
    """The print was not made, through no fault of what was to be printed as far as is known."""


class NoPrintsNowError(PrintError):
    """No print is taken at present: too many wait, or the server is ending."""


Outcome = bytes | PlannerError | FaultInPrintError


@dataclass(eq=False)
class PrintJob:
    """A print on its way. `outcome` becomes the PDF's bytes or, never raised, what kept it from being made; it is
    cancelled where nobody came."""

    key: str
    order: bytes
    outcome: Future[Outcome] = field(default_factory=Future)
    # Those who wait for it at this moment, and until when (monotonic seconds) one who went may come back.
    waiting: int = 0
    wanted_until: float = 0.0


def cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class PrintQueue:
    """Prints in the order asked for, the same one once; a process that dies or hangs is replaced, its print retried.

    Processes start when first needed, `processes` at most: by default one processor is left to those who read pages.
    """

    def __init__(
        self,
        processes: int | None = None,
        limit: float = LIMIT,
        longest: int = LONGEST,
        kept_bytes: int = KEPT_BYTES,
    ) -> None:
        self.processes = processes or max(1, cores() - 1)
        self.limit = limit
        self.longest = longest
        self._kept = _Kept(kept_bytes)
        self._changed = threading.Condition()
        self._jobs: dict[str, PrintJob] = {}  # that wait or are being made, by key
        self._queue: list[PrintJob] = []  # that wait, the first first
        self._idle = 0
        self._ending = False
        self._keepers: list[threading.Thread] = []
        self._at_work: dict[threading.Thread, PrintProcess] = {}

    def order(self, make: Callable[..., bytes], *given: object) -> PrintJob:
        """The job that makes `make(*given)`; done at once where that was made before. Raises NoPrintsNowError."""
        order = order_of(make, *given)
        key = hashlib.sha256(_look() + order).hexdigest()
        with self._changed:
            if made := self._kept.get(key):
                job = PrintJob(key, order)
                job.outcome.set_result(made)
                return job
            if self._ending:
                raise _ending()
            job = self._jobs.get(key) or self._enter(PrintJob(key, order))
            job.wanted_until = max(job.wanted_until, time.monotonic() + TO_COME)
            return job

    def _enter(self, job: PrintJob) -> PrintJob:
        for each in [each for each in self._queue if not self._wanted(each)]:
            self._queue.remove(each)
            self._give_up(each)
        if len(self._queue) >= self.longest:
            raise NoPrintsNowError.one(
                "too many prints wait already", "printing", f"{len(self._queue)} of them", "again in some minutes"
            )
        self._jobs[job.key] = job
        self._queue.append(job)
        if len(self._queue) > self._idle and len(self._keepers) < self.processes:
            keeper = threading.Thread(target=self._keep, name="prints", daemon=True)
            self._keepers.append(keeper)
            keeper.start()
        self._changed.notify()
        return job

    def ahead(self, job: PrintJob) -> int | None:
        """How many prints are before it, those being made among them; None once it is being made itself."""
        with self._changed:
            if job not in self._queue:
                return None
            before = [each for each in self._queue[: self._queue.index(job)] if self._wanted(each)]
            return len(self._jobs) - len(self._queue) + len(before)

    @contextmanager
    def waited_for(self, job: PrintJob) -> Iterator[None]:
        """Somebody waits for the job. One that nobody waits for, nor may come back to, is given up in its turn."""
        with self._changed:
            job.waiting += 1
        try:
            yield
        finally:
            with self._changed:
                job.waiting -= 1

    def kept_for(self, job: PrintJob, seconds: float) -> bool:
        """Whoever ordered the job may come to it within so many seconds; False where it was given up before."""
        with self._changed:
            job.wanted_until = max(job.wanted_until, time.monotonic() + seconds)
            return not job.outcome.cancelled()

    def process_ids(self) -> tuple[int, ...]:
        """The system's numbers of the processes that run now."""
        with self._changed:
            return tuple(process.id for process in self._at_work.values() if process.lives)

    def end(self) -> None:
        """Make nothing more: what waits and what is being made is told so, and no process is left."""
        with self._changed:
            self._ending = True
            for job in self._queue:
                self._done(job, _ending())
            self._queue.clear()
            for process in self._at_work.values():
                process.kill()
            self._changed.notify_all()
            keepers = tuple(self._keepers)
        for keeper in keepers:
            keeper.join()

    def _wanted(self, job: PrintJob) -> bool:
        return job.waiting > 0 or time.monotonic() < job.wanted_until

    def _keep(self) -> None:
        """One process kept for prints: a thread's whole work."""
        me = threading.current_thread()
        while job := self._next():
            outcome = self._made(me, job)
            with self._changed:
                if isinstance(outcome, bytes):
                    self._kept.put(job.key, outcome)
                self._done(job, outcome)
        with self._changed:
            process = self._at_work.pop(me, None)
        if process:
            process.close()

    def _next(self) -> PrintJob | None:
        """The next print that somebody still wants, waited for; None at the end."""
        with self._changed:
            while not self._ending:
                while self._queue:
                    job = self._queue.pop(0)
                    if self._wanted(job):
                        return job
                    self._give_up(job)
                self._idle += 1
                self._changed.wait()
                self._idle -= 1
            return None

    def _made(self, me: threading.Thread, job: PrintJob) -> Outcome:
        ends: list[str] = []
        while len(ends) < TRIES:
            try:
                process = self._process_of(me)
                if process is None:
                    return _ending()
                return process.make(job.order, self.limit)
            except ProcessEndedError as ended:
                ends.append(str(ended))
            except OSError as error:
                ends.append(f"could not be started, {error.strerror}")
            except (PlannerError, FaultInPrintError) as error:
                return error
        if self._ending:
            return _ending()
        return PrintError.one(
            "the print could not be made", "printing", f"its process {'; tried again, it '.join(ends)}",
            "once more; if it fails again, tell whoever runs the server, and read the page instead of the paper",
        )  # fmt: skip

    def _process_of(self, me: threading.Thread) -> PrintProcess | None:
        """This thread's process, a new one where it has none that lives; None at the end."""
        with self._changed:
            current = self._at_work.get(me)
            if self._ending or (current and current.lives):
                return None if self._ending else current
            if current:
                current.close()
            self._at_work[me] = process = PrintProcess()
            return process

    def _done(self, job: PrintJob, outcome: Outcome) -> None:
        self._jobs.pop(job.key, None)
        job.outcome.set_result(outcome)

    def _give_up(self, job: PrintJob) -> None:
        self._jobs.pop(job.key, None)
        job.outcome.cancel()


class _Kept:
    """Finished prints up to so many bytes; what was longest not asked for goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._prints: OrderedDict[str, bytes] = OrderedDict()
        self._bytes = 0

    def get(self, key: str) -> bytes | None:
        if key in self._prints:
            self._prints.move_to_end(key)
        return self._prints.get(key)

    def put(self, key: str, made: bytes) -> None:
        self._bytes += len(made) - len(self._prints.pop(key, b""))
        self._prints[key] = made
        while self._bytes > self._most:
            self._bytes -= len(self._prints.popitem(last=False)[1])


def _look() -> bytes:
    """Stands for what a print is made with beside its content: this program, its templates, styles and fonts."""
    files = sorted(path for path in templates_folder().rglob("*") if path.is_file())
    stats = [(path.name, (stat := path.stat()).st_size, stat.st_mtime_ns) for path in files]
    return repr((__version__, stats)).encode()


def _ending() -> PlannerError:
    return NoPrintsNowError.one("the server is being stopped", "printing", hint="again once it runs")
