"""What a print process is ordered in tests: prints that end it, keep it, or are made at once; named from outside."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from planner.errors import PlannerError


def blank(*_: object) -> bytes:
    return b"%PDF"


def told(text: str, seconds: float = 0.0) -> bytes:
    """The text, after so many seconds."""
    time.sleep(seconds)
    return text.encode()


def noted(folder: str, text: str, seconds: float = 0.0) -> bytes:
    """As `told`; the folder then holds a file for each time it was begun."""
    (Path(folder) / f"{text}-{time.monotonic_ns()}").touch()
    return told(text, seconds)


def held(until: str) -> bytes:
    """Made once there is a file of that name."""
    while not Path(until).exists():
        time.sleep(0.01)
    return b"%PDF held"


def dies(*_: object) -> bytes:
    os.kill(os.getpid(), signal.SIGABRT)
    raise AssertionError


def dies_once(folder: str) -> bytes:
    mark = Path(folder) / "died"
    if mark.exists():
        return b"%PDF"
    mark.touch()
    return dies()


def hangs(*_: object) -> bytes:
    time.sleep(3600)
    raise AssertionError


def works_on(*_: object) -> bytes:
    while True:
        pass


def gets_on(seconds: float) -> bytes:
    """Made after so many seconds, with a tenth of them worked."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        begun = time.process_time()
        while time.process_time() < begun + 0.02:
            pass
        time.sleep(0.2)
    return b"%PDF"


def refuses(*_: object) -> bytes:
    raise PlannerError.one("the page cannot be set", "plan")


def faulty(*_: object) -> bytes:
    raise ZeroDivisionError("a fault of the program")


def other(*_: object) -> bytes:
    return b"%PDF other"
