"""`planner lists repair`: the morning of; what no longer stands, and the smallest change after which it does."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.lists.input import ListsArgument, ListsInput, ListsOutput, known, of_cases
from planner.cli.options import JsonOption, option, present

if TYPE_CHECKING:
    from planner.lists.changes.repair import Repair


@of_cases()
def repair(
    files: ListsInput,
    lists: ListsArgument,
    morning: Annotated[Path, option("--morning", "FILE", "What happened, and why.")],
    keep: Annotated[list[str] | None, option("--keep", "CASE", "A case that stays as it is; may be repeated.")] = None,
    now: Annotated[str | None, option("--now", "HH:MM", "The time on that day, for the file's own.")] = None,
    output: ListsOutput = None,
    json: JsonOption = False,
) -> None:
    """Mend lists on the morning: somebody away, a session lost or running late, an urgent case, a cancellation.

    Proposes the smallest change: fewest cases that lose their place, pressing ones last, and fewest left without a
    later one; then fewest in another session, fewest people changed, fewest in another order. Nothing is put before a
    case that is begun, nor in the past. Days that nothing happened on stay as they are. Ends with 1 where what is begun
    or kept forbids a list that stands.

    Example: planner lists repair week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --morning today.yaml
    """
    from dataclasses import asdict

    from planner.batch.writing import write_whole
    from planner.lists.changes.disruption import read_disruption, timed
    from planner.lists.changes.repair import repair as mend
    from planner.lists.output.verdict_text import verdict_data
    from planner.lists.week.lists_file import written

    instance = files.instance
    current, happened = files.read(lists), read_disruption(morning, instance)
    for name in keep or []:
        known(name, {reference for reference, _ in instance.cases}, f"no case {name!r} among those read", "--keep")
    kept = {key: "" for key in instance.cases if key[0] in (keep or [])}
    found = mend(instance, current, timed(happened, now, instance), kept)
    if output is not None:
        write_whole(output, written(found.lists).encode())
    data = {
        "proved_smallest": found.proved,
        "broken": [one.data for one in found.broken],
        "changes": [asdict(one) for one in found.changes],
        "off": [asdict(one) for one in found.off],
        "measure": found.measure._asdict(),
        "unlocking": [asdict(one) for one in found.unlocking],
        "verdict": verdict_data(found.verdict),
    }
    present(json, lambda: data, lambda: "\n".join(_lines(found)))
    if not found.verdict.stands:
        raise typer.Exit(1)


def _lines(found: "Repair") -> list[str]:
    from planner.lists.changes import repair_text as words
    from planner.lists.output.verdict_text import hung

    told = {key: case.in_words for key, case in found.instance.cases.items()}
    groups = (
        ("By the clock", [*words.not_begun(found)]),
        ("Still broken", [one.says for one in found.verdict.broken]),
        ("What is locked", [words.unlocking(found, one) for one in found.unlocking]),
        ("What no longer stands", [*words.troubles(found)]),
        ("The change", [words.difference(found, one) for one in found.changes if one.now is not None]),
        ("Off", [line for off in found.off for line in
                 (f"{told[off.case]}: {words.came_off(found, off)}", *words.other_eyes(found, off.case))]),
    )  # fmt: skip
    lines = [
        *hung(words.headline(found)),
        *(line for says in (words.how_sure(found), words.as_of(found)) if says for line in hung(says)),
    ]
    for title, group in groups:
        if group:
            lines += ["", title, *(line for one in group for line in hung(f"- {one}"))]
    if found.changes or found.off:
        names = ", ".join(words.people(found))
        lines += ["", *hung(f"Tell: {names + '; ' if names else ''}the ward and each of these patients; the theatre.")]
    lines += hung("A proposal: consultant and organiser decide, and the list is printed anew.")
    return lines
