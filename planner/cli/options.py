"""What several commands share: their options, what these are turned into, and how results are printed."""

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from planner.local_time import go_by

if TYPE_CHECKING:
    from planner.desk.desk import Desk
    from planner.records.store import Store
    from planner.rulebook.rulebook import Rulebook
    from planner.unit import Unit


def group(says: str) -> typer.Typer:
    """Commands under one name."""
    return typer.Typer(help=says, rich_markup_mode=None, no_args_is_help=True)


def argument(metavar: str, says: str) -> Any:
    """An argument whose default is not shown beside it."""
    return typer.Argument(metavar=metavar, help=says, show_default=False)


def option(name: str, metavar: str | None, says: str, *names: str, **more: Any) -> Any:
    """An option whose default is not shown beside it."""
    return typer.Option(*names, name, metavar=metavar, help=says, show_default=False, **more)


CaseArguments = Annotated[list[str], argument("CASE...", "YAML, JSON or CSV files; - for standard input.")]
UnitOption = Annotated[Path | None, option("--unit", "FILE", "The unit's kit, audit and trainees.")]
RulesOption = Annotated[Path | None, option("--rules", "DIR", "Another rulebook's folder. [default: the shipped one]")]
OnOption = Annotated[
    datetime.datetime | None,
    option("--on", "DATE", "The day it is for. [default: the case's own]", formats=["%Y-%m-%d"]),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def rulebook_in(folder: Path | None) -> "Rulebook":
    """The rulebook of a folder, or the shipped one. Raises PlannerError."""
    from planner.rulebook.load import load, shipped

    return shipped() if folder is None else load(folder)


def unit_in(path: Path | None, rulebook: "Rulebook") -> "Unit | None":
    """The unit of a file, or None without one; its clock is in force until the command ends. Raises PlannerError."""
    return None if path is None else unit_of(path, rulebook)


def unit_of(path: Path, rulebook: "Rulebook") -> "Unit":
    """The same of a file that must be given."""
    from planner.unit import read_unit

    unit = read_unit(path, rulebook)
    go_by(unit.clock)
    return unit


def open_store(create: bool = False) -> "Store":
    """The store of PLANNER_DATABASE_URL, else planner.db here. Raises PlannerError."""
    from planner.records.store import Store

    return Store.open(create=create)


def desk_in(rules: Path | None, unit: Path | None, sessions: Path | None, create: bool = False) -> "Desk":
    """The desk over the store, by the files named; the unit's clock is in force until the command ends."""
    from planner.desk.desk import Desk

    desk = Desk.open(None, rulebook_in(rules), unit, sessions, create)
    if desk.unit is not None:
        go_by(desk.unit.clock)
    return desk


def day(on: datetime.datetime | None) -> datetime.date | None:
    return None if on is None else on.date()


def in_json(data: object, many: bool = False) -> str:
    """JSON text: on one line among many, indented alone."""
    from json import dumps

    return dumps(data, ensure_ascii=False, indent=None if many else 2)


def present(json: bool, data: Callable[[], object], text: Callable[[], str]) -> None:
    """Print data as JSON where that is asked for, else text."""
    typer.echo(in_json(data()) if json else text())


def write(path: Path, content: bytes, what: str = "") -> None:
    """Write a whole file, and say so, with what is in it, on standard error. Raises CannotWriteError."""
    from planner.batch.writing import write_whole

    write_whole(path, content)
    typer.echo(f"wrote {path}{what and f': {what}'}", err=True)
