"""One process that sets type, one print at a time: its handle in the program that asks, and what runs inside it.

A process of its own because the libraries that set type keep state that two threads must not touch at once: a server
that set two pages together was ended by a corrupted heap, or took one page's warning for another's.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import traceback
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from queue import SimpleQueue

from planner.errors import PlannerError

# Whoever reads a page goes before whoever waits for paper.
NICER = 5
# The share of one processor below which a process stands still.
STANDS_STILL = 0.01


class ProcessEndedError(Exception):
    """The process died, or was ended for taking too long; says which. What it was making is not made."""


class FaultInPrintError(Exception):
    """A fault of this program, met while a print was made: the traceback of the process that met it."""


def order_of(make: Callable[..., bytes], *given: object) -> bytes:
    """What a process is to make: `make`, a function of a module, of the things given. Equal
    things give equal bytes, for whoever keeps what was made of them."""
    return pickle.dumps((make, given))


class PrintProcess:
    """A process started afresh, never forked, so that nothing of a server's threads, files and sockets is in it."""

    def __init__(self) -> None:
        self._end, theirs = Pipe()
        here = [os.path.abspath(folder) for folder in sys.path]
        command = [sys.executable, "-P", "-m", "planner.documents.printing.process", str(theirs.fileno())]
        with theirs:
            self._process = subprocess.Popen(
                command,
                env=os.environ | {"PYTHONPATH": os.pathsep.join(here)},
                stdin=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                process_group=0,  # an interrupt from the keyboard is the server's affair
            )

    @property
    def id(self) -> int:
        """The system's number of the process."""
        return self._process.pid

    @property
    def lives(self) -> bool:
        return self._process.poll() is None

    def make(self, order: bytes, limit: float) -> bytes:
        """What comes of the order, unless the process stands still, or works, for so many seconds. Raises what the
        order's function refused with (PlannerError), FaultInPrintError, or ProcessEndedError."""
        over, hung = threading.Event(), threading.Event()
        threading.Thread(target=self._watch, args=(limit, over, hung), daemon=True).start()
        try:
            self._end.send_bytes(order)
            made, refused, trace = self._end.recv()
        except (OSError, EOFError):
            self._process.kill()
            code = self._process.wait()
            why = f"hung for {limit:g} s" if hung.is_set() else f"ended by itself, {_how(code)}"
            raise ProcessEndedError(why) from None
        finally:
            over.set()
        if trace:
            raise FaultInPrintError(trace)
        if refused is not None:
            assert isinstance(refused, PlannerError)
            raise refused
        assert isinstance(made, bytes)
        return made

    def _watch(self, limit: float, over: threading.Event, hung: threading.Event) -> None:
        """End the process where it hangs. One that is only slow, on a busy machine, still gets on and is let be."""
        begun = last = self._worked()
        while not over.wait(limit):
            now = self._worked()
            if now - begun >= limit or now - last < STANDS_STILL * limit:
                hung.set()
                self._process.kill()
                return
            last = now

    def _worked(self) -> float:
        """Seconds of processor time that it has had (proc(5): fields 14 and 15 of stat); 0 where that is not told."""
        try:
            fields = Path(f"/proc/{self.id}/stat").read_text("ascii", "replace").rpartition(")")[2].split()
        except OSError:
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def kill(self) -> None:
        """End it at once, whatever it does; a print that is being made then raises ProcessEndedError."""
        self._process.kill()

    def close(self) -> None:
        """End it and leave nothing of it behind."""
        self._process.kill()
        self._process.wait()
        self._end.close()


def _how(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"exit code {code}"


def _run(end: Connection) -> None:
    """Inside the process: make one thing after another, and end with whoever asks, in the midst of a print too."""
    orders: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_take, args=(end, orders), daemon=True).start()
    with suppress(OSError):
        while True:
            end.send(_answer(orders.get()))


def _take(end: Connection, orders: SimpleQueue[bytes]) -> None:
    with suppress(OSError, EOFError):
        while True:
            orders.put(end.recv_bytes())
    os._exit(0)


def _answer(order: bytes) -> tuple[bytes | None, PlannerError | None, str]:
    try:
        make, given = pickle.loads(order)
        return make(*given), None, ""
    except PlannerError as error:
        return None, error, ""
    except Exception:
        return None, None, traceback.format_exc()


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(NICER)
    _run(Connection(int(sys.argv[1])))
