"""`planner records`: check, save and restore what was entered, and `planner export`."""

from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import (
    CaseArguments,
    JsonOption,
    RulesOption,
    argument,
    group,
    open_store,
    option,
    rulebook_in,
    write,
)
from planner.errors import PlannerError

app = group("Check, save and restore what was entered. The store is planner.db, or PLANNER_DATABASE_URL.")


@app.command()
def verify(
    head: Annotated[str | None, option("--head", "HEAD", "What an earlier verify printed last.")] = None,
) -> None:
    """Check that the trail is whole and that every row is what the trail says was entered.

    Prints the trail's head. Written down elsewhere and given back with --head, it shows later that nothing was cut.

    Example: planner records verify
    """
    store = open_store()
    verified = store.verify(head)
    typer.echo(f"{store.name}: {verified.entries} entries hold; head {verified.head}")


@app.command()
def backup(file: Annotated[Path, argument("FILE", "A new file.")]) -> None:
    """Save everything to one compressed, checksummed file, while others go on working.

    It can be restored into a file or into PostgreSQL, whichever it came from. It holds password hashes: keep it safe.

    Example: planner records backup monday.planner-backup
    """
    import io

    if file.is_file():
        why = "an earlier backup is not written over"
        raise PlannerError.one("is there already", str(file), why, "a name with the day in it")
    store = open_store()
    content = io.BytesIO()
    count = store.backup(content)
    write(file, content.getvalue(), f"{count} rows of {store.name}")
    if file.is_file():
        file.chmod(0o600)


@app.command()
def restore(file: Annotated[Path, argument("FILE", "A backup.")]) -> None:
    """Put a backup into an empty store, whole or not at all, and check it.

    Example: PLANNER_DATABASE_URL=sqlite:///restored.db planner records restore monday.planner-backup
    """
    from planner.records.store import Store

    try:
        with file.open("rb") as stream:
            verified = Store.restore(None, stream, str(file))
    except OSError as error:
        raise PlannerError.one(f"cannot be read: {error.strerror}", str(file)) from None
    typer.echo(f"restored {file}: {verified.entries} entries hold; head {verified.head}")


@app.command()
def trail(
    case: Annotated[str | None, option("--case", "REFERENCE", "Of one case only.")] = None,
    json: JsonOption = False,
) -> None:
    """Print who did what, and when.

    Example: planner records trail --case A-104
    """
    from dataclasses import asdict

    from planner.records.trail import canonical

    store = open_store()
    rows = store.trail()
    if case is not None:
        cases = [known.id for eye in ("right", "left") if (known := store.find_case(case, eye))]
        if not cases:
            raise PlannerError.one(f"there is no case {case!r}", store.name)
        rows = tuple(row for row in rows if row.case_id in cases)
    eyes = {now.case.id: f"  {now.case.in_words}" for now in store.cases(operated=True)}
    for row in rows:
        if json:
            typer.echo(canonical(asdict(row)))
        else:
            about = f"{row.kept_in} {row.row}{eyes.get(row.case_id or 0, '')}"
            typer.echo(f"{row.sequence:>6}  {row.at[:19]}Z  {row.who:<16} {row.what}: {about}")


def export(folder: Annotated[Path, argument("DIR", "A new folder.")]) -> None:
    """Write everything ever entered as CSV and JSON, with a README that names each column.

    Example: planner export everything
    """
    count = open_store().export(folder)
    typer.echo(f"wrote {folder}: {count} rows", err=True)


@app.command()
def take(
    cases: CaseArguments,
    by: Annotated[str, option("--by", "CODE", "Who prepares them, by role code.")],
    rules: RulesOption = None,
) -> None:
    """Enter cases from files, as if they had been typed into the browser's form.

    A case whose reference and eye are in the store already is refused, never written over.

    Example: planner records take cases/*.yaml --by trainee-3
    """
    from planner.batch.batch import Batch
    from planner.case_file import case_file

    batch = Batch(cases, rulebook_in(rules).vocabulary)
    store = open_store(create=True)
    try:
        batch.run(case_file, lambda _, document: store.new_case(document, by), Path())
    finally:
        store.close()
