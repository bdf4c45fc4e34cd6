"""`planner lists brief`, `week`, `calendar` and `table`: lists on paper and for other programs."""

import datetime
from pathlib import Path
from typing import Annotated

import typer

from planner.cli.lists.input import FileOutput, ListsArgument, ListsInput, SinceOption, known, of_cases
from planner.cli.options import option, write
from planner.errors import PlannerError


@of_cases()
def brief(
    files: ListsInput,
    lists: ListsArgument,
    only: Annotated[list[str] | None, option("--session", "ID", "Only this session; may be repeated.")] = None,
    since: SinceOption = None,
    version: Annotated[
        str, typer.Option("--version-line", metavar="TEXT", help="What the sheets say of themselves.")
    ] = "",
    output: FileOutput = Path("brief.pdf"),
) -> None:
    """Write each session's list as it hangs in theatre, with the team brief behind it, as one PDF.

    Example: planner lists brief week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --session tue-1-a
    """
    from planner.documents.brief.sheet import render_brief
    from planner.lists.changes.differences import changes
    from planner.lists.output.brief_view import brief_of

    instance, current = files.instance, files.read(lists)
    changed = changes(files.read(since), current) if since else ()
    with_list = [name for name in instance.sessions if any(p.session == name for p in current.placings)]
    for name in only or []:
        known(name, with_list, f"no list for session {name!r}", str(lists))
    plans = files.plans(current)
    briefs = [
        brief_of(instance, current, name, plans, changed, version) for name in with_list if not only or name in only
    ]
    if not briefs:
        raise PlannerError.one("holds no list", str(lists), "every session in it is without a case")
    write(output, render_brief(briefs), f"{len(briefs)} list{'s' if briefs[1:] else ''} with team brief")


@of_cases()
def week(
    files: ListsInput,
    lists: ListsArgument,
    output: FileOutput = Path("week.pdf"),
) -> None:
    """Write the weeks at a glance: every session, its minutes and people, and what waits without a place.

    Example: planner lists week week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml
    """
    from planner.documents.week.sheet import render_weeks
    from planner.lists.output.week_view import weeks_view

    view = weeks_view(files.instance, files.read(lists))
    write(output, render_weeks(view), f"{view.placed} cases placed, {len(view.waiting)} waiting")


@of_cases()
def calendar(
    files: ListsInput,
    lists: ListsArgument,
    person: Annotated[str | None, option("--for", "CODE", "Only this person's lists.")] = None,
    published: Annotated[int | None, option("--published", "N", "Its version; else tentative.", min=1)] = None,
    since: SinceOption = None,
    output: FileOutput = Path("lists.ics"),
) -> None:
    """Write the sessions as an iCalendar, without any reference or patient in it.

    Example: planner lists calendar week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --for trainee-2
    """
    from planner.lists.output.calendar import Edition, Slot, calendar_of
    from planner.lists.week.instance import Lists

    instance = files.instance
    if person is not None:
        everybody = [*instance.trainees, *instance.supervisors]
        known(person, everybody, f"nobody {person!r} in the roster", str(files.sessions or ""))
    current, before = files.read(lists), files.read(since) if since else Lists(())
    stamp = _last_written(lists, files.sessions)
    editions = {}
    for name, session in instance.sessions.items():
        was = [p for p in before.placings if p.session == name]
        listed = any(p.session == name for p in current.placings)
        if was or (published and listed):
            people = frozenset(code for p in was for code in (p.trainee, p.supervisor) if code is not None)
            editions[name] = Edition(published or 0, stamp, bool(published), people, Slot.of(session))
    write(output, calendar_of(instance, current, stamp, person, editions))


def _last_written(*names: Path | None) -> datetime.datetime:
    """When the youngest of these files was written (UTC), so that what they hold is dated alike however often it is
    asked for; what is in the store is dated now."""
    now = datetime.datetime.now(datetime.UTC)
    written = [name.stat().st_mtime if name is not None and name.exists() else now.timestamp() for name in names]
    return datetime.datetime.fromtimestamp(max(written), datetime.UTC).replace(microsecond=0)


@of_cases()
def table(
    files: ListsInput,
    lists: ListsArgument,
) -> None:
    """Print lists as CSV, a row a case.

    Example: planner lists table week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml > week.csv
    """
    from planner.lists.output.table import table_of

    typer.echo(table_of(files.instance, files.read(lists)), nl=False)
