"""`planner rules compare`: which cases change between two rulebooks, from what to what, and because of what."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import JsonOption, argument, present, rulebook_in
from planner.errors import Fault, PlannerError

if TYPE_CHECKING:
    from planner.case import Case
    from planner.compare.comparison_text import Changed


def compare(
    old: Annotated[Path, argument("OLD", "The folder of one rulebook.")],
    new: Annotated[Path, argument("NEW", "The folder of the other.")],
    cases: Annotated[list[str] | None, argument("CASES...", "YAML, JSON or CSV files; - for standard input.")] = None,
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

    from planner.compare.case_pairs import ComparisonProgress, drawn_pairs, read_pairs
    from planner.compare.compare import Comparison
    from planner.compare.comparison_text import as_data, as_text

    comparison = Comparison(rulebook_in(old), rulebook_in(new))
    refused: list[Fault] = []
    read = list(read_pairs(cases or [], comparison, refused))
    progress = ComparisonProgress(len(read) + generated)

    def changing(pairs: Iterable[tuple[Case, Case]]) -> Changed:
        found = []
        for before, after in pairs:
            changes = comparison.changes(before, after)
            if changes:
                found.append((before, changes))
            progress.step(bool(changes))
        return found

    of_read, of_drawn = changing(read), changing(drawn_pairs(comparison, generated, seed))
    progress.end()
    present(
        json,
        lambda: as_data(comparison, [*of_read, *of_drawn], progress.total),
        lambda: "\n".join(as_text(comparison, of_read, of_drawn, (len(read), generated))),
    )
    if refused:
        raise PlannerError(refused)
