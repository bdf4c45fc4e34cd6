"""`planner roster`: the unit's people, sessions, leave, kit and limits in the store, from files and to files."""

import datetime
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import RulesOption, argument, group, open_store, option, rulebook_in, unit_of, write
from planner.errors import PlannerError

if TYPE_CHECKING:
    from planner.lists.roster.import_rows import RosterImport
    from planner.records.rows import RosterEntry
    from planner.rulebook.rulebook import Rulebook
    from planner.unit import Unit

app = group(
    "The unit's people, sessions, leave, kit and limits in the store; organisers change them in the browser too."
)
RosterUnit = Annotated[Path, option("--unit", "FILE", "The unit's trainees, kit and zone.")]
ByOption = Annotated[str, option("--by", "CODE", "Who enters it, by role code: an organiser.")]


@app.command()
def take(
    files: Annotated[list[Path], argument("FILE...", ".yaml, .csv, .xlsx or .ics files.")],
    unit: RosterUnit,
    by: ByOption,
    holds: Annotated[str | None, option("--as", "leave|sessions", "What the events of an .ics are.")] = None,
    name: Annotated[
        list[str] | None, option("--name", "TEXT=CODE", "In an .ics, a name that stands for a code; may be repeated.")
    ] = None,
    the_rest: Annotated[bool, option("--the-rest", None, "Take what can be taken where rows are set aside.")] = False,
    dry_run: Annotated[bool, option("--dry-run", None, "Say what would be done, and do nothing.")] = False,
    rules: RulesOption = None,
) -> None:
    """Take entries into the roster in the store: new ones are added, known ones changed, none is retired.

    A row that cannot stand is set aside in a file of its own, FILE.set-aside.csv here, with its reason; nothing is
    taken then, unless with --the-rest. From then on the roster in the store is in force, whatever file is named.

    Example: planner roster take sessions.yaml --unit unit.yaml --by organiser-1
    """
    from planner import strict_yaml
    from planner.lists.roster.entries import no_new_fault
    from planner.lists.roster.files import LARGEST, ending_of, read_file
    from planner.lists.roster.import_rows import import_rows

    ours, rulebook = _unit_and_rulebook(unit, rules)
    if holds not in (None, "leave", "sessions"):
        raise PlannerError.one(f"{holds!r} is neither leave nor sessions", "--as", hint="--as leave")
    names = dict(_name(text) for text in name or [])
    with closing(open_store(create=True)) as store:
        names = {person.name: person.code for person in store.people(active_only=True)} | names
        standing = store.roster()
        sources = []
        for path in files:
            content = strict_yaml.read_bytes(path, LARGEST[ending_of(str(path))])
            today = datetime.datetime.now(ours.clock).date()
            sources += read_file(content, str(path), standing, ours.clock, today, holds, names)  # type: ignore[arg-type]
        found = import_rows(sources, standing, ours, rulebook)
        _say(found)
        columns = {source.name: source.columns for source in sources}
        aside = _put_aside(found, columns) if not dry_run else len(found.set_aside)
        if dry_run or (aside and not the_rest):
            typer.echo("nothing was taken" + ("" if dry_run else ": mend the rows set aside, or --the-rest"), err=True)
        else:
            note = f"taken from {', '.join(path.name for path in files)}"
            count = store.change_roster(found.changes, by, note[:200], no_new_fault(ours, rulebook))
            typer.echo(f"{store.name}: {count} entries taken", err=True)
    if aside:
        raise typer.Exit(1)


def _unit_and_rulebook(unit: Path, rules: Path | None) -> "tuple[Unit, Rulebook]":
    rulebook = rulebook_in(rules)
    return unit_of(unit, rulebook), rulebook


def _name(text: str) -> tuple[str, str]:
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
    from planner.lists.roster.import_rows import aside_file

    count = 0
    for name, rows in found.aside.items():
        if rows:
            file, _, sheet = name.partition(", sheet ")
            safe = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in sheet)
            path = Path(f"{Path(file).stem}{f'.{safe}' if safe else ''}.set-aside.csv")
            write(path, aside_file(columns[name], rows), f"{len(rows)} rows")
            count += len(rows)
    return count


@app.command()
def show(unit: RosterUnit, rules: RulesOption = None) -> None:
    """Print the roster in force as a sessions file, and whatever is wrong with it.

    Example: planner roster show --unit unit.yaml
    """
    from planner.lists.roster.entries import as_yaml, check_entries

    ours, rulebook = _unit_and_rulebook(unit, rules)
    entries = _entries()
    typer.echo(as_yaml(entries), nl=False)
    if faults := check_entries(entries, ours, rulebook).faults:
        raise PlannerError(list(faults))


def _entries(standing: bool = False) -> "tuple[RosterEntry, ...]":
    """The entries in the store. Raises PlannerError where it has none, or with `standing` none that is not retired."""

    with closing(open_store()) as store:
        entries = store.roster()
        if all(standing and entry.retired for entry in entries):
            raise PlannerError.one("holds no roster", store.name, hint="planner roster take FILE")
        return entries


@app.command()
def export(
    files: Annotated[
        list[Path], argument("FILE...", "roster.yaml, roster.xlsx, sessions.csv, leave.csv, sessions.ics ...")
    ],
    unit: RosterUnit,
    rules: RulesOption = None,
) -> None:
    """Write the roster in the store: .yaml and .xlsx hold all of it, a .csv the table it is named by, .ics sessions.

    Example: planner roster export roster.yaml sessions.csv sessions.ics --unit unit.yaml
    """
    from planner.lists.roster.files import written_as

    clock, entries = _unit_and_rulebook(unit, rules)[0].clock, _entries(standing=True)
    stamp = datetime.datetime.now(datetime.UTC).replace(microsecond=0)
    for path, content in [(path, written_as(str(path), entries, clock, stamp)) for path in files]:
        write(path, content)
