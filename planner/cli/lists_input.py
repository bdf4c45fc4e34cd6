"""What the `planner lists` commands are given: their options, and what is made of the files named."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import rulebook_in, unit_in

if TYPE_CHECKING:
    from planner.lists.gather import Gathered
    from planner.lists.instance import Instance

ListsArgument = Annotated[Path, typer.Argument(metavar="LISTS", help="A file of lists.", show_default=False)]
CasesOption = Annotated[
    list[str],
    typer.Option(
        "--cases", metavar="FILE|DIR", help="The cases: a file, a folder; may be repeated.", show_default=False
    ),
]
UnitOption = Annotated[
    Path, typer.Option("--unit", metavar="FILE", help="The unit's kit and trainees.", show_default=False)
]
WithOption = Annotated[
    Path,
    typer.Option("--with", metavar="FILE", help="The unit's people, sessions and limits.", show_default=False),
]
ENDINGS = (".yaml", ".yml", ".json", ".csv")


def instance_in(cases: list[str], unit: Path, sessions: Path, rules: Path | None) -> "Instance":
    """What lists are judged by, from its files. Raises PlannerError with every fault of the first that has any."""
    return gathered_in(cases, unit, sessions, rules).instance


def gathered_in(cases: list[str], unit: Path, sessions: Path, rules: Path | None) -> "Gathered":
    """The same with the cases it came from, for their plans."""
    from planner.errors import PlannerError
    from planner.exchange.cases import SetAside, once_each, read_cases
    from planner.lists.gather import Gathered
    from planner.lists.roster import read_roster

    rulebook = rulebook_in(rules)
    held = unit_in(unit, rulebook)
    assert held is not None
    roster = read_roster(sessions, held, rulebook)
    items = list(once_each(item for name in _files(cases) for item in read_cases(name, rulebook.vocabulary)))
    faults = [fault for item in items if isinstance(item, SetAside) for fault in item.faults]
    if faults:
        raise PlannerError(faults)
    return Gathered((item.case for item in items if not isinstance(item, SetAside)), rulebook, held, roster)


def _files(names: list[str]) -> list[str]:
    """The files named, and those in a folder named. Raises PlannerError for a folder without one."""
    from planner.errors import PlannerError

    found: list[str] = []
    for name in names:
        if not Path(name).is_dir():
            found.append(name)
            continue
        inside = sorted(str(path) for path in Path(name).iterdir() if path.suffix in ENDINGS)
        if not inside:
            raise PlannerError.one(
                "holds no case", name, f"no file in it ends in {', '.join(ENDINGS)}", "another folder"
            )
        found += inside
    return found
