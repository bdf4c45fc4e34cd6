"""The command line: a module a command or a few small ones; parse, call, present.

Data goes to standard output, narration to standard error. Ends with 0 when done, 1 for a problem in the data, 2 for
wrong usage, 130 when interrupted. What a command needs is imported inside it, and annotations are not postponed
(typer would evaluate each of them), so that --help comes at once.
"""

import contextlib
import os
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from planner import __version__
from planner.cli import assess, explain, intake, papers, people, plan, plan_read, records, roster, serve
from planner.cli.lists.app import app as lists
from planner.cli.rules.app import app as rules
from planner.errors import PlannerError
from planner.local_time import in_zone


class _Commands(TyperGroup):
    """`plan` takes cases, and `plan read` a plan; a case file named read is reached as ./read."""

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        joined = [" ".join(args[:2]), *args[2:]]
        return super().resolve_command(ctx, joined if joined[0] in self.commands else args)


app = typer.Typer(
    name="planner",
    cls=_Commands,
    help="Preoperative risk stratification and surgical plans for cataract surgery in a training unit.",
    epilog="The surgeon decides: every tier and plan is advice, and nothing is final without a consultant's approval.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
)
app.command("intake")(intake.intake)
app.command("assess")(assess.assess)
app.command("plan")(plan.plan)
app.command("plan read")(plan_read.read_back)
app.add_typer(explain.app, name="explain")
app.add_typer(rules, name="rules")
app.add_typer(lists, name="lists")
app.add_typer(roster.app, name="roster")
app.command("serve")(serve.serve)
app.command("papers")(papers.papers)
app.command("export")(records.export)
app.add_typer(people.app, name="people")
app.add_typer(records.app, name="records")


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"planner {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    pass


def main() -> None:
    """Run the command line; anything the reader can put right becomes one `error:` message and exit 1."""
    for stream in (sys.stdout, sys.stderr):
        # The same bytes whatever the machine's language settings.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        try:
            # The machine's clock, until a command has read its unit's file.
            with in_zone(None):
                app()
        finally:
            sys.stdout.flush()
    except PlannerError as error:
        first, *others = str(error).splitlines()
        print(f"error: {first}", *(f"  {other}" for other in others), sep="\n", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        _abandon_standard_output()
        sys.exit(1)
    except OSError as error:
        # Cases and plans are read and written with their names told; what has no name here is standard output.
        if error.filename is None:
            _abandon_standard_output()
        place = error.filename or "standard output: cannot be written"
        print(f"error: {place}: {error.strerror}", file=sys.stderr)
        sys.exit(1)


def _abandon_standard_output() -> None:
    """Keep the interpreter from trying, and failing, to write what is left when it ends."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
