"""`planner rules compare`: which cases change between two rulebooks, from what to what, and because of what."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import JsonOption, rulebook_in
from planner.errors import Fault, PlannerError

if TYPE_CHECKING:
    from planner.case import Case
    from planner.compare.compare import Comparison
    from planner.compare.comparison_text import Changed

SECONDS_BETWEEN = 0.2


def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The folder of one rulebook.", show_default=False)],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The folder of the other.", show_default=False)],
    cases: Annotated[
        list[str] | None,
        typer.Argument(metavar="CASES...", help="YAML, JSON or CSV files; - for standard input.", show_default=False),
    ] = None,
    generated: Annotated[int, typer.Option("--generated", metavar="N", min=0, help="Draw so many cases too.")] = 0,
    seed: Annotated[int, typer.Option("--seed", help="Which cases are drawn.")] = 1,
    json: JsonOption = False,
) -> None:
    """Say which cases change between two rulebooks: tier, points, choice, step, supervision, readiness.

    Rules, cautions, drills and drugs that come or go are told too. Kit is not, nor what only the words of a label say.
    Each change names the entries it rests on that differ. Drawn cases are allowed ones, complete and partly recorded.

    Example: planner rules compare rules rules-new case.yaml --generated 1000
    """
    if not cases and not generated:
        raise typer.BadParameter("give cases, or --generated N", param_hint="CASES")

    from planner.cli.assess import in_json
    from planner.compare.compare import Comparison
    from planner.compare.comparison_text import as_data, as_text

    comparison = Comparison(rulebook_in(old), rulebook_in(new))
    refused: list[Fault] = []
    read = list(_read(cases or [], comparison, refused))
    progress = _Progress(len(read) + generated)

    def changing(pairs: Iterable[tuple[Case, Case]]) -> Changed:
        found = []
        for before, after in pairs:
            changes = comparison.changes(before, after)
            if changes:
                found.append((before, changes))
            progress.step(bool(changes))
        return found

    of_read, of_drawn = changing(read), changing(_drawn(comparison, generated, seed))
    progress.end()
    if json:
        typer.echo(in_json(as_data(comparison, [*of_read, *of_drawn], progress.total), many=False))
    else:
        typer.echo("\n".join(as_text(comparison, of_read, of_drawn, (len(read), generated))))
    if refused:
        raise PlannerError(refused)


def _read(sources: list[str], comparison: Comparison, refused: list[Fault]) -> Iterator[tuple[Case, Case]]:
    """Each case as either vocabulary reads it; what one of them refuses is told in `refused`."""
    from planner.exchange.case_reader import ReadCase, SetAside, once_each, read_cases

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


def _drawn(comparison: Comparison, number: int, seed: int) -> Iterator[tuple[Case, Case]]:
    from planner.assess.assess import assessor
    from planner.compare.sampling import Sampler, told_apart

    old, new = assessor(comparison.old).compiled, assessor(comparison.new).compiled
    for case in Sampler(old, told_apart(old, new)).cases(number, seed):
        yield case, case


class _Progress:
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
