"""Many cases in order, on all cores where that pays: progress, bad rows set aside in a file, the rest finished."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any, TypeVar

from planner.batch.progress import Progress
from planner.batch.workers import Outcome, in_order
from planner.batch.writing import CannotWriteError, is_among, make_folder, write_whole
from planner.case import Case
from planner.documents.printing.queue import cores
from planner.errors import Fault, PlannerError
from planner.exchange.case_reader import CaseSource, ReadCase, SetAside, once_each, read_cases, set_aside_file
from planner.vocabulary import Vocabulary

FAULTS_SHOWN = 20
Made = TypeVar("Made")


class Batch:
    """The cases of all sources named. Raises PlannerError when the only source cannot be read."""

    def __init__(self, sources: list[str], vocabulary: Vocabulary) -> None:
        self.sources: list[CaseSource] = []
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

    def run(
        self,
        make: Callable[[Case], Made],
        put: Callable[[Case, Made], object],
        beside: Path,
        check: Callable[[Case], object] = lambda case: None,
        shared_from: int | None = None,
    ) -> None:
        """Make something of every good case and put it where it goes. Raises PlannerError when any was set aside.

        `check` and `put` are called here, in the order of the cases; `make` in other processes too once there are
        `shared_from` cases or more (None: never). What one of them refuses with a PlannerError is set aside; a
        CannotWriteError stops the batch. Rows set aside from tables and lists are written into the folder `beside`.
        """
        processes = cores() if shared_from is not None and self.total >= shared_from else 1
        items = once_each(itertools.chain.from_iterable(self.sources))

        def task(item: ReadCase | SetAside) -> Case | None:
            if isinstance(item, SetAside):
                return None
            check(item.case)
            return item.case

        progress = Progress(self.total, shown=self.many)
        with progress, closing(in_order(items, task, make, min(processes, self.total))) as outcomes:
            for outcome in outcomes:
                refused = _put(outcome, put)
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
            made = set_aside_file(source, [item for item in self.refused if item.source == source.name])
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


def _put(outcome: Outcome[ReadCase | SetAside], put: Callable[[Case, Any], object]) -> SetAside | None:
    item, error = outcome.given, outcome.error
    if isinstance(item, SetAside):
        return item
    if error is None:
        try:
            put(item.case, outcome.made)
            return None
        except CannotWriteError:
            raise
        except PlannerError as refused:
            error = refused
    faults = [Fault(fault.where or item.where, fault.what, fault.why, fault.hint) for fault in error.faults]
    return SetAside(item.source, item.where, faults, item.original)
