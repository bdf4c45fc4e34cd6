"""`planner intake`: a blank case to fill in."""

from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import RulesOption, option, rulebook_in


def intake(
    csv: Annotated[bool, option("--csv", None, "Print the header line of a CSV table instead.")] = False,
    output: Annotated[Path | None, option("--output", "FILE", "Where to.", "-o")] = None,
    force: Annotated[bool, option("--force", None, "Write over a file that is there.")] = False,
    rules: RulesOption = None,
) -> None:
    """Print a blank case to fill in.

    Every finding stands there with how it is measured and what may be written.

    Example: planner intake -o case.yaml
    """
    from planner.batch.writing import CannotWriteError, write_whole
    from planner.exchange.blank_case import blank_case, header_line

    vocabulary = rulebook_in(rules).vocabulary
    text = header_line(vocabulary) if csv else "\n".join(blank_case(vocabulary)) + "\n"
    if output is None:
        typer.echo(text, nl=False)
        return
    if output.exists() and not force:
        raise CannotWriteError.one(
            "is there already", str(output), "a case may be filled in", "another name, or --force"
        )
    write_whole(output, text.encode())
