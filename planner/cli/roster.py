"""`planner roster`: the unit's people, sessions, leave, kit and limits in the store, from files and to files."""

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import RulesOption, rulebook_in, unit_in

if TYPE_CHECKING:
    from planner.lists.roster.import_rows import RosterImport

app = typer.Typer(
    help="The unit's people, sessions, leave, kit and limits in the store; organisers change them in the browser too.",
    rich_markup_mode=None,
    no_args_is_help=True,
)
RosterUnit = Annotated[
    Path, typer.Option("--unit", metavar="FILE", help="The unit's trainees, kit and zone.", show_default=False)
]
ByOption = Annotated[
    str, typer.Option("--by", metavar="CODE", help="Who enters it, by role code: an organiser.", show_default=False)
]


@app.command()
def take(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help=".yaml, .csv, .xlsx or .ics files.", show_default=False)
    ],
    unit: RosterUnit,
    by: ByOption,
    holds: Annotated[
        str | None,
        typer.Option("--as", metavar="leave|sessions", help="What the events of an .ics are.", show_default=False),
    ] = None,
    name: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="TEXT=CODE",
            help="In an .ics, a name that stands for a code; may be repeated.",
            show_default=False,
        ),
    ] = None,
    the_rest: Annotated[
        bool, typer.Option("--the-rest", help="Take what can be taken where rows are set aside.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be done, and do nothing.")] = False,
    rules: RulesOption = None,
) -> None:
    """Take entries into the roster in the store: new ones are added, known ones changed, none is retired.

    A row that cannot stand is set aside in a file of its own, FILE.set-aside.csv here, with its reason; nothing is
    taken then, unless with --the-rest. From then on the roster in the store is in force, whatever file is named.

    Example: planner roster take sessions.yaml --unit unit.yaml --by organiser-1
    """
    from planner import strict_yaml
    from planner.errors import PlannerError
    from planner.lists.roster.entries import no_new_fault
    from planner.lists.roster.files import LARGEST, ending_of, read_file
    from planner.lists.roster.import_rows import import_rows
    from planner.records.store import Store

    rulebook = rulebook_in(rules)
    held_unit = unit_in(unit, rulebook)
    assert held_unit is not None
    if holds not in (None, "leave", "sessions"):
        raise PlannerError.one(f"{holds!r} is neither leave nor sessions", "--as", hint="--as leave")
    names = dict(_name(text) for text in name or [])
    store = Store.open()
    try:
        known = {person.name: person.code for person in store.people(active_only=True)}
        held = store.roster()
        given = []
        for path in files:
            content = strict_yaml.read_bytes(path, LARGEST[ending_of(str(path))])
            today = datetime.datetime.now(held_unit.clock).date()
            given += read_file(content, str(path), held, held_unit.clock, today, holds, known | names)  # type: ignore[arg-type]
        found = import_rows(given, held, held_unit, rulebook)
        _say(found)
        columns = {one.name: one.columns for one in given}
        aside = _put_aside(found, columns) if not dry_run else len(found.set_aside)
        if dry_run or (aside and not the_rest):
            typer.echo("nothing was taken" + ("" if dry_run else ": mend the rows set aside, or --the-rest"), err=True)
        else:
            note = f"taken from {', '.join(path.name for path in files)}"
            count = store.change_roster(found.changes, by, note[:200], no_new_fault(held_unit, rulebook))
            typer.echo(f"{store.name}: {count} entries taken", err=True)
    finally:
        store.close()
    if aside:
        raise typer.Exit(1)


def _name(text: str) -> tuple[str, str]:
    from planner.errors import PlannerError

    name, equals, code = text.partition("=")
    if not equals or not name.strip() or not code.strip():
        raise PlannerError.one(f"{text!r} names nobody", "--name", hint='--name "R Ash=consultant-1"')
    return name.strip(), code.strip()


def _say(found: "RosterImport") -> None:
    for note in found.notes:
        typer.echo(f"note: {note}", err=True)
    for one in found.entries:
        if one.what == "new":
            typer.echo(f"new      {one.in_words}")
        elif one.what == "changed":
            fields = "; ".join(f"{name} {was or 'nothing'} -> {now or 'nothing'}" for name, was, now in one.fields)
            typer.echo(f"changed  {one.in_words}: {fields}")
    for row in found.set_aside:
        typer.echo(f"aside    {row.where}: {row.why}")
    counts = f"{found.count('new')} new, {found.count('changed')} changed, {found.count('same')} as they were"
    typer.echo(f"{counts}, {len(found.set_aside)} set aside", err=True)


def _put_aside(found: "RosterImport", columns: dict[str, tuple[str, ...]]) -> int:
    """Write what was set aside, a file for each table in the working folder. Returns how many rows."""
    from planner.batch.writing import write_whole
    from planner.lists.roster.import_rows import aside_file

    count = 0
    for name, rows in found.aside.items():
        if rows:
            file, _, sheet = name.partition(", sheet ")
            safe = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in sheet)
            path = Path(f"{Path(file).stem}{f'.{safe}' if safe else ''}.set-aside.csv")
            write_whole(path, aside_file(columns[name], rows))
            typer.echo(f"wrote {path}: {len(rows)} rows", err=True)
            count += len(rows)
    return count


@app.command()
def show(unit: RosterUnit, rules: RulesOption = None) -> None:
    """Print the roster in force as a sessions file, and whatever is wrong with it.

    Example: planner roster show --unit unit.yaml
    """
    from planner.errors import PlannerError
    from planner.lists.roster.entries import as_yaml, check_entries
    from planner.records.store import Store

    rulebook = rulebook_in(rules)
    held_unit = unit_in(unit, rulebook)
    assert held_unit is not None
    store = Store.open(create=False)
    try:
        entries = store.roster()
        if not entries:
            raise PlannerError.one("holds no roster", store.name, hint="planner roster take FILE")
        typer.echo(as_yaml(entries), nl=False)
        faults = check_entries(entries, held_unit, rulebook).faults
    finally:
        store.close()
    if faults:
        raise PlannerError(list(faults))


@app.command()
def export(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="roster.yaml, roster.xlsx, sessions.csv, leave.csv, sessions.ics ...",
            show_default=False,
        ),
    ],
    unit: RosterUnit,
    rules: RulesOption = None,
) -> None:  # fmt: skip
    """Write the roster in the store: .yaml and .xlsx hold all of it, a .csv the table it is named by, .ics sessions.

    Example: planner roster export roster.yaml sessions.csv sessions.ics --unit unit.yaml
    """
    from planner.batch.writing import write_whole
    from planner.errors import PlannerError
    from planner.lists.roster.files import written_as
    from planner.records.store import Store

    held_unit = unit_in(unit, rulebook_in(rules))
    assert held_unit is not None
    store = Store.open(create=False)
    try:
        entries = store.roster()
        if all(entry.retired for entry in entries):
            raise PlannerError.one("holds no roster", store.name, hint="planner roster take FILE")
        stamp = datetime.datetime.now(datetime.UTC).replace(microsecond=0)
        made = [(path, written_as(str(path), entries, held_unit.clock, stamp)) for path in files]
    finally:
        store.close()
    for path, content in made:
        write_whole(path, content)
        typer.echo(f"wrote {path}", err=True)
