"""`planner lists standby` and `orders`: who could have a place that falls free, and what must be ordered by when."""

from typing import Annotated

import typer

from planner.cli.lists.input import RECORDS, ListsArgument, ListsInput, known, of_cases
from planner.cli.options import JsonOption, argument, option, present


@of_cases(planned=True)
def standby(
    files: ListsInput,
    lists: ListsArgument,
    session: Annotated[str, argument("SESSION", "Where a place is free.")],
    off: Annotated[list[str] | None, option("--off", "CASE", "A case that does not come; may be repeated.")] = None,
    json: JsonOption = False,
) -> None:
    """Say which waiting cases could come at short notice for a place that is free, whose turn it is first.

    Example: planner lists standby week.yaml tue-1-a --off L-404 --cases pool.csv --unit unit.yaml --with sessions.yaml
    """
    from dataclasses import replace

    from planner.lists.changes.standby import standby as who_could
    from planner.lists.matching.insertion import taken_off
    from planner.lists.output.standby_text import standby_data, standby_text

    instance, current = files.instance, files.read(lists)
    known(session, instance.sessions, f"no session {session!r}", str(files.sessions or RECORDS))
    here = {placing.case[0]: placing.case for placing in current.placings if placing.session == session}
    gone = {here[known(reference, here, f"no case {reference!r} in {session}", "--off")] for reference in off or ()}
    for key in gone:
        current = taken_off(current, key)
    others = {key: case for key, case in instance.cases.items() if key not in gone}
    found = who_could(replace(instance, cases=others), current, session)
    present(json, lambda: standby_data(found), lambda: "\n".join(standby_text(instance, found, off or [])))


@of_cases(planned=True)
def orders(
    files: ListsInput,
    lists: ListsArgument,
    table: Annotated[bool, option("--csv", None, "As CSV, a row a lens or item of kit.")] = False,
) -> None:
    """List each lens and item of kit of the placed cases, and the last day to order it by the unit's lead times.

    Example: planner lists orders week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --csv > orders.csv
    """
    from planner.lists.output.orders import orders as needed
    from planner.lists.output.orders import orders_table, orders_text

    lead = files.roster.limits.lead_days
    found = needed(files.instance, files.read(lists), lead)
    if table:
        typer.echo(orders_table(found), nl=False)
    else:
        typer.echo("\n".join(orders_text(files.instance, found, lead)))
