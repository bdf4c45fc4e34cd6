"""`planner lists standby` and `orders`: who could have a place that falls free, and what must be ordered by when."""

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.lists.input import RECORDS, ListsArgument, ListsInput, known, of_cases
from planner.cli.options import JsonOption, argument, option, present

if TYPE_CHECKING:
    from planner.lists.changes.standby import Standby, StandbyList
    from planner.lists.output.orders import LeadDays, SupplyOrder
    from planner.lists.week.instance import Instance


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

    instance, current = files.instance, files.read(lists)
    known(session, instance.sessions, f"no session {session!r}", str(files.sessions or RECORDS))
    here = {placing.case[0]: placing.case for placing in current.placings if placing.session == session}
    gone = {here[known(reference, here, f"no case {reference!r} in {session}", "--off")] for reference in off or ()}
    for key in gone:
        current = taken_off(current, key)
    others = {key: case for key, case in instance.cases.items() if key not in gone}
    found = who_could(replace(instance, cases=others), current, session)
    present(json, lambda: _data(found), lambda: "\n".join(_text(instance, found, off or [])))


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
    from planner.lists.output.orders import orders_table

    lead = files.roster.limits.lead_days
    found = needed(files.instance, files.read(lists), lead)
    if table:
        typer.echo(orders_table(found), nl=False)
    else:
        typer.echo("\n".join(_orders_text(files.instance, found, lead)))


def _data(found: "StandbyList") -> dict[str, object]:
    def of(one: "Standby") -> dict[str, object]:
        return {
            "case": one.case[0], "eye": one.case[1], "place": one.placing.place, "trainee": one.placing.trainee,
            "supervisor": one.placing.supervisor, "pressing": one.pressing, "asked": one.asked,
        }  # fmt: skip

    return {
        "session": found.session.id,
        "ready": [of(one) for one in found.ready],
        "to_ask": [of(one) for one in found.to_ask],
        "barred": [{"case": told, "rules": rules} for told, rules in found.barred],
    }


def _text(instance: "Instance", found: "StandbyList", off: list[str]) -> Iterator[str]:
    from planner.lists.output.match_text import who
    from planner.lists.output.verdict_text import hung
    from planner.lists.rules.registry import RULES
    from planner.lists.week.week import Week

    yield f"Standby for {found.session.in_words}" + (f", without {', '.join(off)}" if off else "")
    for title, every in (
        ("Can come at short notice, in this order", found.ready),
        ("Would fit; nobody has asked whether they can come at short notice", found.to_ask),
    ):
        yield from ("", title)
        if not every:
            yield "  nobody"
        for number, one in enumerate(every, 1):
            case = instance.cases[one.case]
            yield f"  {number:>2}  {one.in_words:<18} tier {case.tier}  {who(Week(instance, one.lists), one.placing)}"
            yield from hung(f"      {one.pressing}")
            for asked in one.asked:
                yield from hung(f"      ask: {asked}")
    if found.barred:
        yield from ("", "Can come, and cannot have the place")
        for told, rules in found.barred:
            yield from hung(f"  {told}: not kept: {'; '.join(RULES[rule].words for rule in rules)}")


def _orders_text(instance: "Instance", found: "tuple[SupplyOrder, ...]", lead: "LeadDays") -> Iterator[str]:
    from planner.lists.output.verdict_text import hung
    from planner.wording.words import day_words

    without = [what for what in ("lens", "kit") if what not in lead]
    yield f"Orders for the lists from {day_words(instance.planned_on)} on"
    if without:
        missing = " and ".join(without)
        yield from hung(f"No lead time for {missing} in the sessions file (limits, lead_days): no last day to order.")
    for by, due in groupby(found, lambda one: (one.order_by, one.too_late)):
        late = " (too late to order: look on the shelf)" if by[1] else ""
        yield from (
            "",
            f"Order by {by[0]:%a} {day_words(by[0])}{late}" if by[0] else "Needed, in the order of the lists",
        )
        for one in due:
            count = f"{one.count} cases: " if one.count > 1 else ""
            cases = f"({count}{'; '.join(one.cases)})"
            when = f"{one.session.day:%a} {day_words(one.session.day)} {one.session.id:<9}"
            yield from hung(f"  {when} {one.what}: {one.item} {cases}")
