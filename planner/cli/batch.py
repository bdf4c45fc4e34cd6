"""Many cases one by one: progress, bad rows set aside in a file of their own, the rest finished."""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Callable
from pathlib import Path

from planner.case import Case
from planner.cli.writing import CannotWriteError, is_among, make_folder, write_whole
from planner.errors import Fault, PlannerError
from planner.exchange.cases import Cases, ReadCase, SetAside, once_each, read_cases
from planner.exchange.set_aside import file_of
from planner.vocabulary import Vocabulary

FAULTS_SHOWN = 20
SECONDS_BETWEEN = 0.2


class Batch:
    """The cases of all sources named. Raises PlannerError when the only source cannot be read."""

    def __init__(self, sources: list[str], vocabulary: Vocabulary) -> None:
        self.sources: list[Cases] = []
        self.refused: list[SetAside] = []
        for source in sources:
            try:
                self.sources.append(read_cases(source, vocabulary))
            except PlannerError as error:
                if len(sources) == 1:
                    raise
                self.refused.append(SetAside(source, source, error.faults, None))
        self.total = len(self.refused) + sum(source.total for source in self.sources)

    @property
    def many(self) -> bool:
        """Whether there is more than one case, good or bad."""
        return self.total > 1

    def run(self, each: Callable[[Case], None], beside: Path) -> None:
        """Call `each` with every good case. Raises PlannerError at the end when any was set aside.

        What `each` refuses with a PlannerError is set aside too; a CannotWriteError stops the batch. Rows set aside
        from tables and lists of cases are written into the folder `beside`.
        """
        progress = _Progress(self.total, shown=self.many)
        for item in once_each(itertools.chain.from_iterable(self.sources)):
            refused = item if isinstance(item, SetAside) else _tried(item, each)
            if refused is not None:
                self.refused.append(refused)
            progress.step()
        progress.end(set_aside=len(self.refused))
        if self.refused:
            raise PlannerError(self.refused[0].faults if not self.many else [*self._report(beside)])

    def _report(self, beside: Path) -> list[Fault]:
        """Write what was set aside, and say what and where."""
        files: list[str] = []
        for source in self.sources:
            made = file_of(source, [item for item in self.refused if item.source == source.name])
            if made is not None:
                make_folder(beside)
                path = self._unused(beside / made[0], files)
                write_whole(path, made[1])
                files.append(str(path))
        faults = [fault for item in self.refused for fault in item.faults]
        left_out = len(faults) - FAULTS_SHOWN
        return [
            Fault(
                "", f"{len(self.refused)} of {self.total} cases set aside" + "".join(f", in {file}" for file in files)
            ),
            *faults[:FAULTS_SHOWN],
            *([Fault("", f"and {left_out} faults more")] if left_out > 0 else []),
        ]

    def _unused(self, path: Path, written: list[str]) -> Path:
        """The path, or one numbered after it, that is neither read nor written in this batch."""
        stem, ending = path.stem, path.suffix
        for number in itertools.count(2):
            if not is_among(path, [*(source.name for source in self.sources), *written]):
                break
            path = path.with_name(f"{stem}-{number}{ending}")
        return path


def _tried(item: ReadCase, each: Callable[[Case], None]) -> SetAside | None:
    try:
        each(item.case)
    except CannotWriteError:
        raise
    except PlannerError as error:
        faults = [Fault(fault.where or item.where, fault.what, fault.why, fault.hint) for fault in error.faults]
        return SetAside(item.source, item.where, faults, item.original)
    return None


class _Progress:
    """A count that is kept up to date on a terminal, and one last line anywhere else."""

    def __init__(self, total: int, shown: bool) -> None:
        self.total, self.shown = total, shown
        self.live = shown and sys.stderr.isatty()
        self.done, self.last = 0, time.monotonic()

    def step(self) -> None:
        self.done += 1
        if self.live and time.monotonic() - self.last >= SECONDS_BETWEEN:
            self.last = time.monotonic()
            print(f"\r{self.done} of {self.total} cases", end="", file=sys.stderr, flush=True)

    def end(self, set_aside: int) -> None:
        if self.shown:
            start = "\r" if self.live else ""
            print(f"{start}{self.total - set_aside} of {self.total} cases done", file=sys.stderr)
