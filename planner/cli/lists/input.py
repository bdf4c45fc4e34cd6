"""What the `planner lists` commands are given: their options, and what is made of the files named."""

import datetime
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from planner.cli.options import RulesOption, argument, day, open_store, option, rulebook_in, unit_of
from planner.errors import PlannerError
from planner.wording.words import eye_words

if TYPE_CHECKING:
    from planner.lists.roster.shapes import Roster
    from planner.lists.week.instance import Instance, Key, Lists
    from planner.plan.plan import Plan
    from planner.rulebook.rulebook import Rulebook
    from planner.unit import Unit

RECORDS = "records"  # instead of a file: what the store holds


ListsArgument = Annotated[Path, argument("LISTS", "A file of lists, or `records`.")]
CasesOption = Annotated[
    list[str],
    option(
        "--cases",
        "FILE|DIR",
        "The cases: a file, a folder; may be repeated. `records`: the approved cases of the store, as approved.",
    ),
]
UnitOption = Annotated[Path, option("--unit", "FILE", "The unit's kit and trainees.")]
WithOption = Annotated[
    Path | None,
    option(
        "--with", "FILE", "The unit's sessions file. With `--cases records` the roster in the store comes before it."
    ),
]
PlannedOption = Annotated[
    datetime.datetime | None,
    option("--on", "DATE", "The day of planning. [default: that of the first session]", formats=["%Y-%m-%d"]),
]
ListsOutput = Annotated[Path | None, option("--output", "FILE", "Write the lists there.", "-o")]
FileOutput = Annotated[Path, typer.Option("-o", "--output", metavar="FILE", help="Where to.")]
SinceOption = Annotated[Path | None, option("--since", "LISTS", "An earlier version: changes are marked.")]
ENDINGS = (".yaml", ".yml", ".json", ".csv")


@dataclass(frozen=True)
class ListsInput:
    """What lists are judged by, the places that the store holds (None where files were given), and the way to plans."""

    instance: "Instance"
    placed: "Lists | None"
    plans: Callable[["Lists"], "dict[Key, Plan]"]
    roster: "Roster"
    sessions: Path | None = None  # the sessions file, where one was named

    def read(self, lists: Path) -> "Lists":
        """The lists of a file, or those of the store. Raises PlannerError."""
        from planner.lists.week.lists_file import read_lists

        if str(lists) != RECORDS:
            return read_lists(lists, self.instance)
        if self.placed is None:
            what = "stands for the places in the store, but the cases are of files"
            raise PlannerError.one(what, RECORDS, hint=f"--cases {RECORDS}")
        return self.placed


def of_cases(planned: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Makes a command take --cases, --unit, --with and --rules, and --on where it is `planned`, and gives it what they
    name as `files`."""

    def made(command: Callable[..., None]) -> Callable[..., None]:
        own = [one for name, one in signature(command).parameters.items() if name != "files"]
        arguments = [one for one in own if one.default is Parameter.empty]
        options = [one for one in own if one.default is not Parameter.empty]
        kinds: list[tuple[str, object, object]] = [
            ("cases", CasesOption, Parameter.empty), ("unit", UnitOption, Parameter.empty),
            ("sessions", WithOption, None), *([("on", PlannedOption, None)] if planned else []),
            ("rules", RulesOption, None),
        ]  # fmt: skip
        keyword = Parameter.KEYWORD_ONLY
        shared = [Parameter(name, keyword, default=default, annotation=kind) for name, kind, default in kinds]

        @wraps(command)
        def run(**values: Any) -> None:
            named = {one.name: values.pop(one.name) for one in shared}
            command(files=given(**named), **values)

        every = [*arguments, *shared, *options]
        run.__signature__ = Signature([one.replace(kind=keyword) for one in every])  # type: ignore[attr-defined]
        run.__annotations__ = {one.name: one.annotation for one in every}
        return run

    return made


def known(name: str, names: Iterable[str], what: str, where: str) -> str:
    """The name, where it is one of `names`. Raises PlannerError with the nearest one."""
    from planner.rulebook.references import nearest

    if name not in (those := list(names)):
        raise PlannerError.one(what, where, hint=nearest(name, those))
    return name


def given(
    cases: list[str], unit: Path, sessions: Path | None, rules: Path | None, on: datetime.datetime | None = None
) -> ListsInput:
    """What the commands are given. Raises PlannerError with every fault of the first file that has any."""
    from planner.lists.roster.shapes import read_roster

    rulebook = rulebook_in(rules)
    ours = unit_of(unit, rulebook)
    if RECORDS in cases:
        found = _of_the_store(cases, rulebook, ours, sessions, day(on))
    elif sessions is None:
        why = "cases of files are judged by a sessions file"
        raise PlannerError.one("--with is missing", why=why, hint="--with sessions.yaml, or --cases records")
    else:
        found = _of_files(cases, rulebook, ours, read_roster(sessions, ours, rulebook))
    for one in found.roster.late_accepted:
        if (one.case, one.eye) not in found.instance.cases:
            typer.echo(f"late_accepted names {eye_words(one.case, one.eye)}, which is not among these cases", err=True)
    return replace(found, instance=replace(found.instance, on=day(on)), sessions=sessions)


def _of_files(cases: list[str], rulebook: "Rulebook", unit: "Unit", roster: "Roster") -> ListsInput:
    from planner.exchange.case_reader import SetAside, once_each, read_cases
    from planner.lists.week.gather import Gathered

    items = list(once_each(item for name in _files(cases) for item in read_cases(name, rulebook.vocabulary)))
    faults = [fault for item in items if isinstance(item, SetAside) for fault in item.faults]
    if faults:
        raise PlannerError(faults)
    found = Gathered((item.case for item in items if not isinstance(item, SetAside)), rulebook, unit, roster)
    return ListsInput(found.instance, None, found.plans, roster)


def _of_the_store(
    cases: list[str], rulebook: "Rulebook", unit: "Unit", sessions: Path | None, on: datetime.date | None
) -> ListsInput:
    """From the day of planning on, or the first session's. A place in no session of the roster is left out."""
    from planner.desk.desk import Desk
    from planner.desk.plan_in_force import plans_on_lists
    from planner.lists.roster.shapes import read_roster
    from planner.wording.words import day_words

    if len(cases) > 1:
        raise PlannerError.one("stands for all approved cases", f"--cases {RECORDS}", hint="leave the other files out")
    store = open_store()
    stored = store.roster_mark() > 0
    desk = Desk(store, rulebook, unit, None if stored or sessions is None else read_roster(sessions, unit, rulebook))
    reader = desk.lists
    if stored and sessions is not None:
        typer.echo(f"{sessions} was not read: the roster in {store.name} is in force", err=True)
    if reader is None and stored:
        raise PlannerError.one("has no session", f"the roster in {store.name}", hint="planner roster take FILE")
    if reader is None:
        raise PlannerError.one("holds no roster", store.name, hint="--with sessions.yaml, or planner roster take")
    held = reader.recorded(on or min(session.day for session in reader.roster.sessions))
    for one in held.elsewhere:
        case = one.now.case
        typer.echo(f"left out: {case.in_words}, on {day_words(one.at.day)}: {one.because}", err=True)
    return ListsInput(
        held.instance, held.lists, lambda lists: plans_on_lists(desk, held, lists.placings), reader.roster
    )


def _files(names: list[str]) -> list[str]:
    """The files named, and those in a folder named. Raises PlannerError for a folder without one."""
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
