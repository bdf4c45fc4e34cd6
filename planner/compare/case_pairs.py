"""The cases that two rulebooks are compared on, each as either vocabulary reads it, and how far that has come."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

from planner.assess.assess import assessor
from planner.case import Case
from planner.compare.compare import Comparison
from planner.compare.sampling import Sampler, told_apart
from planner.errors import Fault, PlannerError
from planner.exchange.case_reader import ReadCase, SetAside, once_each, read_cases

SECONDS_BETWEEN = 0.2


def read_pairs(sources: list[str], comparison: Comparison, refused: list[Fault]) -> Iterator[tuple[Case, Case]]:
    """Each case as either vocabulary reads it; what one of them refuses is told in `refused`."""
    old, new = comparison.old.vocabulary, comparison.new.vocabulary
    for source in sources:
        if old == new:
            pairs = [(item, item) for item in once_each(read_cases(source, old))]
        elif source == "-":
            raise PlannerError.one(
                "standard input can be read once only", why="the two rulebooks record different findings", hint="a file"
            )
        else:
            pairs = list(zip(*(once_each(read_cases(source, each)) for each in (old, new)), strict=True))
        for before, after in pairs:
            if isinstance(before, ReadCase) and isinstance(after, ReadCase):
                yield before.case, after.case
                continue
            for item, rulebook in ((before, "OLD"), (after, "NEW")):
                if isinstance(item, SetAside):
                    where = "" if before is after else f", read by {rulebook}"
                    refused += [Fault(f.where, f"{f.what}{where}", f.why, f.hint) for f in item.faults]
                    if before is after:
                        break


def drawn_pairs(comparison: Comparison, number: int, seed: int) -> Iterator[tuple[Case, Case]]:
    old, new = assessor(comparison.old).compiled, assessor(comparison.new).compiled
    for case in Sampler(old, told_apart(old, new)).cases(number, seed):
        yield case, case


class ComparisonProgress:
    """A count that is kept up to date on a terminal, and one last line anywhere else."""

    def __init__(self, total: int) -> None:
        self.total, self.done, self.changed = total, 0, 0
        self.live, self.last = sys.stderr.isatty(), time.monotonic()

    def step(self, changed: bool) -> None:
        self.done, self.changed = self.done + 1, self.changed + changed
        if self.live and time.monotonic() - self.last >= SECONDS_BETWEEN:
            self.last = time.monotonic()
            print(f"\r{self._words()}", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        start = "\r" if self.live else ""
        print(f"{start}{self._words()}", file=sys.stderr)

    def _words(self) -> str:
        return f"{self.done} of {self.total} cases compared, {self.changed} changed"
