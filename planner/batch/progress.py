"""How far a long run has come: a bar kept up to date on a terminal, and one last line anywhere else."""

from __future__ import annotations

import shutil
import sys
import time
from types import TracebackType

SECONDS_BETWEEN = 0.2
WIDEST_BAR = 40
NARROWEST_BAR = 5


class Progress:
    """Counts cases on standard error. Used as a context, so that what is said next starts on a line of its own."""

    def __init__(self, total: int, shown: bool) -> None:
        self.total, self.shown = total, shown
        self.live = shown and sys.stderr.isatty()
        self.done, self.last = 0, 0.0

    def __enter__(self) -> Progress:
        self._draw()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.live:
            print("\r\x1b[K" if error is None else "", end="" if error is None else "\n", file=sys.stderr, flush=True)

    def step(self) -> None:
        """One case more is done."""
        self.done += 1
        if time.monotonic() - self.last >= SECONDS_BETWEEN:
            self._draw()

    def _draw(self) -> None:
        if self.live:
            self.last = time.monotonic()
            line = bar(self.done, self.total, shutil.get_terminal_size().columns - 1)
            print(f"\r{line}\x1b[K", end="", file=sys.stderr, flush=True)

    def end(self, set_aside: int) -> None:
        """Say what was done, once all is."""
        if self.shown:
            print(f"{self.total - set_aside} of {self.total} cases done", file=sys.stderr)


def bar(done: int, total: int, columns: int) -> str:
    """A line of at most so many columns: `[######......]  57 of 200 cases, 143 left`, without the bar if too narrow."""
    words = f"{done:{len(str(total))}} of {total} cases, {total - done} left"
    width = min(WIDEST_BAR, columns - len(words) - 3)
    if width < NARROWEST_BAR:
        return words[: max(columns, 0)]
    full = width * done // max(total, 1)
    return f"[{'#' * full}{'.' * (width - full)}] {words}"
