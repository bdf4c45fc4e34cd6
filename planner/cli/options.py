"""Options that several commands share, and what they are turned into."""

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from planner.desk.desk import Desk
    from planner.rulebook.rulebook import Rulebook
    from planner.unit import Unit

CaseArguments = Annotated[
    list[str],
    typer.Argument(metavar="CASE...", help="YAML, JSON or CSV files; - for standard input.", show_default=False),
]
UnitOption = Annotated[
    Path | None, typer.Option("--unit", metavar="FILE", help="The unit's kit, audit and trainees.", show_default=False)
]
RulesOption = Annotated[
    Path | None,
    typer.Option(
        "--rules", metavar="DIR", help="Another rulebook's folder. [default: the shipped one]", show_default=False
    ),
]
OnOption = Annotated[
    datetime.datetime | None,
    typer.Option(
        "--on",
        metavar="DATE",
        formats=["%Y-%m-%d"],
        help="The day it is for. [default: the case's own]",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def rulebook_in(folder: Path | None) -> "Rulebook":
    """The rulebook of a folder, or the shipped one. Raises PlannerError."""
    from planner.rulebook.load import load, shipped

    return shipped() if folder is None else load(folder)


def unit_in(path: Path | None, rulebook: "Rulebook") -> "Unit | None":
    """The unit of a file, or None without one; its clock is in force until the command ends. Raises PlannerError."""
    from planner.local_time import go_by
    from planner.unit import read_unit

    if path is None:
        return None
    unit = read_unit(path, rulebook)
    go_by(unit.clock)
    return unit


def desk_in(rules: Path | None, unit: Path | None, sessions: Path | None, create: bool = False) -> "Desk":
    """The desk over the store, by the files named; the unit's clock is in force until the command ends."""
    from planner.desk.desk import Desk
    from planner.local_time import go_by

    desk = Desk.open(None, rulebook_in(rules), unit, sessions, create)
    if desk.unit is not None:
        go_by(desk.unit.clock)
    return desk


def day(on: datetime.datetime | None) -> datetime.date | None:
    return None if on is None else on.date()
