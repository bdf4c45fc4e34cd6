"""`planner rules new`: an entry begun, to be filled in."""

from enum import StrEnum
from typing import Annotated

import typer

from planner.cli.options import RulesOption, argument, option


class RuleKind(StrEnum):
    FACTOR = "factor"
    FINDING = "finding"
    DRILL = "drill"
    CAUTION = "caution"


def new(
    kind: Annotated[RuleKind, argument("KIND", "factor, finding, drill or caution.")],
    name: Annotated[str, argument("ID", "small-pupil; of a finding dilated_pupil_mm.")],
    rules: RulesOption = None,
    file: Annotated[
        str | None, option("--in", "NAME", "The file: lens for factors/lens.yaml. [default: its own]")
    ] = None,
) -> None:
    """Begin an entry: its keys, still empty, and its cases beside it.

    planner rules check then names all that is still to be filled in.

    Example: planner rules new factor crowded-angle --in pressure-and-chamber --rules rules-new
    """
    from planner.batch.writing import write_whole
    from planner.rulebook.scaffold import begin
    from planner.shipped import rules_folder

    folder = rules or rules_folder()
    for path, text in begin(folder, kind.value, name, file).items():
        write_whole(path, text.encode())
        typer.echo(f"{path}: {kind.value} {name} begun")
    typer.echo(f"then: planner rules check --rules {folder}", err=True)
