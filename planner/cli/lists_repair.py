"""`planner lists repair`: the morning of; what no longer stands, and the smallest change after which it does."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.lists_input import CasesOption, ListsArgument, UnitOption, WithOption, given
from planner.cli.options import JsonOption, RulesOption

if TYPE_CHECKING:
    from planner.lists.changed import Change
    from planner.lists.instance import Placing
    from planner.lists.repair import Repaired
    from planner.lists.week import Week

KINDS = {
    "new": "ADDED", "off": "OFF", "session": "OTHER SESSION", "people": "OTHER PEOPLE", "order": "OTHER PLACE"
}  # fmt: skip


def repair(
    lists: ListsArgument,
    cases: CasesOption,
    unit: UnitOption,
    morning: Annotated[
        Path, typer.Option("--morning", metavar="FILE", help="What happened, and why.", show_default=False)
    ],
    sessions: WithOption = None,
    keep: Annotated[
        list[str] | None,
        typer.Option("--keep", metavar="CASE", help="A case that stays as it is; may be repeated.", show_default=False),
    ] = None,
    rules: RulesOption = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write the lists there.", show_default=False)
    ] = None,
    json: JsonOption = False,
) -> None:
    """Mend lists on the morning: somebody away, a session lost, an urgent case, a cancellation.

    Proposes the smallest change: fewest cases off, then fewest in another session, with other people, in another
    place; pressing cases come off last. Days that nothing happened on stay as they are. Ends with 1 where what is begun
    or kept forbids a list that stands.

    Example: planner lists repair week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --morning today.yaml
    """
    from dataclasses import asdict

    from planner.cli.assess import in_json
    from planner.cli.listed import verdict_data
    from planner.cli.writing import write_whole
    from planner.errors import PlannerError
    from planner.lists.happened import read_happened
    from planner.lists.placed import written
    from planner.lists.repair import repair as mend
    from planner.rulebook.references import nearest

    files = given(cases, unit, sessions, rules)
    instance = files.instance
    held, happened = files.read(lists), read_happened(morning, instance)
    known = {reference for reference, _ in instance.cases}
    for name in keep or []:
        if name not in known:
            raise PlannerError.one(f"no case {name!r} among those read", "--keep", hint=nearest(name, known))
    found = mend(instance, held, happened, frozenset(key for key in instance.cases if key[0] in (keep or [])))
    if output is not None:
        write_whole(output, written(found.lists).encode())
    if json:
        data = {
            "proved_smallest": found.proved,
            "broken": [asdict(one) for one in found.broken],
            "changes": [asdict(one) for one in found.changes],
            "off": [
                {"case": key, "because": because, "later": later and asdict(later)} for key, because, later in found.off
            ],
            "verdict": verdict_data(found.verdict),
        }
        typer.echo(in_json(data, many=False))
    else:
        typer.echo("\n".join(_lines(found, len(held.placings))))
    if not found.verdict.stands:
        raise typer.Exit(1)


def _lines(found: "Repaired", before: int) -> list[str]:
    from planner.cli.listed import hung
    from planner.lists.week import Week

    week, told = Week(found.instance, found.lists), {key: case.told for key, case in found.instance.cases.items()}
    count = len({one.rule for one in found.broken})
    lines = [f"What happened breaks {count} rule{'s' if count != 1 else ''}." if count else "Every rule is still kept."]
    lines += [line for one in found.broken for line in hung(f"- {one.says}")]
    changed = [one for one in found.changes if one.kind != "off"]
    if changed or found.off:
        lines += ["", "Smallest change" if found.proved else "A small change; none smaller was found"]
    for one in changed:
        lines += hung(f"- {told[one.case]}: {KINDS[one.kind]} {_differs(week, one)}")
    for key, because, later in found.off:
        why = because or "no place keeps every rule that day"
        lines += hung(f"- {told[key]}: OFF, {why}.{_could_go(week, later)}")
        lines += _other_eye(found, key)
    lines += ["", f"{before - len(found.changes) - sum(bool(why) for _, why, _ in found.off)} cases stay as they are."]
    people = dict.fromkeys(
        name for one in found.changes for p in (one.was, one.now) if p for name in (p.trainee, p.supervisor) if name
    )
    if found.changes or found.off:
        lines += hung(
            f"Tell: {', '.join(people) or 'nobody by name'}; the ward and each of these patients; the theatre."
        )
    if not found.verdict.stands:
        lines += [
            "",
            "It may not stand like this:",
            *(line for one in found.verdict.broken for line in hung(f"- {one}")),
        ]
    lines += hung("A proposal: consultant and organiser decide, and the list is printed anew.")
    return lines


def _differs(week: "Week", one: "Change") -> str:
    """`in tue-1-a, number 1: trainee-3, consultant-1 instead of trainee-3, trainer-1.`"""
    assert one.now is not None
    where = f"in {one.now.session}, number {one.now.place}"
    if one.was is None:
        return f"{where}: {_who(one.now)}."
    if one.kind == "people":
        return f"{where}: {_who(one.now)} instead of {_who(one.was)}."
    was = f"number {one.was.place}" if one.kind == "order" else f"{one.was.session}, number {one.was.place}"
    return f"{where}: {_who(one.now)}; was {was}."


def _who(placing: "Placing") -> str:
    return placing.supervisor if placing.trainee is None else f"{placing.trainee}, {placing.supervisor}"


def _could_go(week: "Week", later: "Placing | None") -> str:
    return "" if later is None else f" Could go to {week.session(later).told}: {_who(later)}."


def _other_eye(found: "Repaired", key: tuple[str, str]) -> list[str]:
    """The same patient's other eye, where it is on another list."""
    from planner.cli.listed import hung

    patient = found.instance.cases[key].patient
    return [
        line
        for placing in found.lists.placings
        if patient and placing.case != key and found.instance.cases[placing.case].patient == patient
        for line in hung(
            f"  The other eye of {patient} is in {found.instance.sessions[placing.session].told}: the surgeon says "
            "whether it may be done first."
        )
    ]
