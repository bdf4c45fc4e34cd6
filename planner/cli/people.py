"""`planner people`: who may sign in, as what, and their passwords."""

import sys
from typing import Annotated

import typer

from planner.cli.options import JsonOption, argument, group, open_store, option
from planner.errors import PlannerError

app = group("Who may sign in, and as what. The store is planner.db, or PLANNER_DATABASE_URL.")
CodeArgument = Annotated[str, argument("CODE", "A role code, such as trainee-3.")]
StdinOption = Annotated[bool, option("--password-stdin", None, "Read the password from standard input.")]


@app.command()
def add(
    code: CodeArgument,
    name: Annotated[str, option("--name", None, "The member of staff's name, as approvals print it.")],
    role: Annotated[str, option("--role", None, "trainee, consultant, organiser or administrator.")],
    trainee_id: Annotated[str | None, option("--trainee-id", None, "Their id in the unit's file.")] = None,
    password_stdin: StdinOption = False,
) -> None:
    """Add a person; the password is asked for twice, and only its hash is kept. Makes the store if there is none.

    Example: planner people add consultant-2 --name "R Ash" --role consultant
    """
    from planner.records.password_hashing import new_hash
    from planner.records.people import checked_person
    from planner.records.roles import COMMAND_LINE

    checked_person(code, name, role)
    hash = new_hash(_password(password_stdin), code)
    store = open_store(create=True)
    person = store.add_person(code, name, role, COMMAND_LINE, trainee_id)
    store.set_password_hash(code, hash, COMMAND_LINE)
    typer.echo(f"added {person.code}, {person.role}, to {store.name}")


@app.command("list")
def list_people(json: JsonOption = False) -> None:
    """Print everybody: code, role, name, and whether they may sign in.

    Example: planner people list
    """
    from dataclasses import asdict

    from planner.records.trail import canonical

    for person in open_store().people():
        if json:
            typer.echo(canonical(asdict(person)))
        else:
            typer.echo(f"{person.code:<20} {person.role:<14} {person.name}{'' if person.active else '  (inactive)'}")


@app.command()
def password(code: CodeArgument, password_stdin: StdinOption = False) -> None:
    """Set a person's password anew; they are signed out everywhere.

    Example: planner people password trainee-3
    """
    from planner.records.password_hashing import new_hash
    from planner.records.roles import COMMAND_LINE

    store = open_store()
    store.person(code)
    store.set_password_hash(code, new_hash(_password(password_stdin), code), COMMAND_LINE)
    typer.echo(f"the password of {code} is set")


@app.command()
def deactivate(code: CodeArgument) -> None:
    """Let a person sign in no longer; what they entered stays.

    Example: planner people deactivate trainee-3
    """
    _set_active(code, False)


@app.command()
def activate(code: CodeArgument) -> None:
    """Let a person who was set inactive sign in again.

    Example: planner people activate trainee-3
    """
    _set_active(code, True)


def _set_active(code: str, active: bool) -> None:
    from planner.records.roles import COMMAND_LINE

    open_store().change_person(code, COMMAND_LINE, active=active)
    typer.echo(f"{code} is {'active' if active else 'inactive'}")


def _password(from_stdin: bool) -> str:
    """The password of one line of standard input, or typed twice on the terminal. Raises PlannerError."""
    import getpass

    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise PlannerError.one("there is no terminal to ask for the password on", hint="--password-stdin")
    try:
        first = getpass.getpass("Password: ")
        second = getpass.getpass("The same again: ")
    except EOFError:
        raise PlannerError.one("no password was given") from None
    if first != second:
        raise PlannerError.one("the two passwords differ", hint="type them again")
    return first
