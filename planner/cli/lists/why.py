"""`planner lists why` and `minutes`: why a case is where it is or nowhere, and what the unit's own log says."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.lists.input import ListsArgument, ListsInput, known, of_cases
from planner.cli.options import JsonOption, RulesOption, argument, present, rulebook_in
from planner.errors import Fault, PlannerError

if TYPE_CHECKING:
    from planner.lists.week.instance import Instance, Key, Lists
    from planner.lists.week.operator_minutes import Learnt, Log
    from planner.rulebook.list_shapes import Grade, OwnLog

SHOWN = 3  # places of a case that are named beside its own
SET_ASIDE_SHOWN = 20  # faults of a log that are told; the file holds them all


@of_cases()
def why(
    files: ListsInput,
    lists: ListsArgument,
    case: Annotated[str, argument("CASE", "Its reference.")],
) -> None:
    """Say why a case is where it is, or what bars it everywhere and what one change would place it.

    Example: planner lists why week.yaml L-410 --cases pool.csv --unit unit.yaml --with sessions.yaml
    """
    instance, current = files.instance, files.read(lists)
    known(case, {reference for reference, _ in instance.cases}, f"no case {case!r} among those read", "CASE")
    keys = [key for key in instance.cases if key[0] == case]
    typer.echo("\n\n".join("\n".join(_why(instance, current, key)) for key in keys))


def _why(instance: "Instance", lists: "Lists", key: "Key") -> Iterator[str]:
    """The case in its place or without one, the places worth most beside it, and what each would break."""
    from planner.lists.matching.insertion import Assignment, attempt, options, taken_off
    from planner.lists.matching.objective import ranked
    from planner.lists.matching.reasons import pressing, why_not
    from planner.lists.output.match_text import blocked_lines, who, wishes_words
    from planner.lists.output.verdict_text import hung
    from planner.lists.week.week import Week

    placing = next((one for one in lists.placings if one.case == key), None)
    others = taken_off(lists, key)
    own = Assignment.of(placing) if placing else None
    case, stands, barred = instance.cases[key], list[str](), list[str]()
    said = ""
    for points, option, worth in ranked(instance, others, key, options(instance)):
        if option == own:
            said = f"{points:.1f} points: {wishes_words(worth)}"
            continue
        trial = attempt(instance, others, key, option)
        line = f"{option.session}: {who(Week(instance, trial.lists), trial.placing)}, {points:.1f} points"
        if not trial.broken and len(stands) < SHOWN:
            stands.append(f"  - {line}")
        elif trial.broken and len(barred) < SHOWN and not said:
            barred.append(f"  - {line}: {trial.broken[0].says}")
    if placing is None and not stands:
        yield from blocked_lines(why_not(instance, lists, key))
        return
    if placing is None:
        yield f"{case.in_words} is on no list, and has a place."
    else:
        told = instance.sessions[placing.session].in_words
        yield from hung(f"{case.in_words}: number {placing.place} in {told}. {who(Week(instance, lists), placing)}.")
        yield from hung(f"  {said or 'that pair is not on the session, so it has no points'}.")
    yield from hung(f"  How pressing: {pressing(instance, key)}.")
    if barred:
        yield "  Places worth more that a rule bars:"
        yield from (line for one in barred for line in hung(one))
    if stands:
        yield "  Other places that keep every rule, all other cases where they are:"
        yield from (line for one in stands for line in hung(one))


def minutes(
    log: Annotated[Path, argument("LOG", "A CSV: operator, minutes; turnover if logged.")],
    rules: RulesOption = None,
    json: JsonOption = False,
) -> None:
    """Work out each operator's minutes from the unit's own log, to stand in its sessions file.

    Operators are the stages and `consultant`. A trainee's operation counts in full, whoever took which step of it. The
    published minutes count as some operations beside the unit's own, and few of its own are not used at all; how many,
    the rulebook says (durations.yaml). Rows that cannot be read are set aside in a file of their own; it then ends
    with 1.

    Example: planner lists minutes log.csv
    """
    from dataclasses import asdict

    from planner.batch.writing import write_whole
    from planner.lists.week.operator_minutes import learnt, read_log
    from planner.lists.week.overrun import Time
    from planner.rulebook.list_shapes import OPERATORS

    durations = rulebook_in(rules).durations
    grades: dict[str, Grade] = {operator: durations.grade_of(operator) for operator in OPERATORS}
    read, policy = read_log(log), durations.own_log
    published = {operator: Time(grade.mean, grade.sd) for operator, grade in grades.items()}
    found = list(learnt(read, published, policy))
    faults = []
    if read.refused:
        file = Path(f"{log.stem}.set-aside.csv")
        write_whole(file, read.set_aside())
        reasons = [fault for row in read.refused for fault in row.faults]
        faults.append(Fault("", f"{len(read.refused)} of {read.rows} rows set aside, in {file}"))
        faults += reasons[:SET_ASIDE_SHOWN]
        if len(reasons) > SET_ASIDE_SHOWN:
            faults.append(Fault("", f"and {len(reasons) - SET_ASIDE_SHOWN} faults more"))
    if not found:
        why = f"each operator needs {policy.least_cases} at least ({policy.basis.words})"
        raise PlannerError([*faults, Fault(str(log), "no operator has enough operations", why, "a longer log")])
    turnover = sum(read.turnover) / len(read.turnover) if read.turnover else None
    data = {"operators": [asdict(one) for one in found], "turnover_minutes": turnover}
    present(json, lambda: data, lambda: "\n".join(_learnt(found, read, policy)))
    if faults:
        raise PlannerError(faults)


def _learnt(found: "list[Learnt]", log: "Log", policy: "OwnLog") -> Iterator[str]:
    from planner.lists.output.verdict_text import hung

    yield f"{'':<37}{'Standard':>9}"
    heads = f"{'Cases':>6}   {'Logged (SD)':<13}{'error':>11}   {'Published':<10}{'To use (SD)':<14}"
    yield f"{'':<13}{heads}One in ten takes (curve)"
    for one in found:
        own, published = f"{one.own_mean:.1f} ({one.own_sd:.1f})", f"{one.published.mean:g} ({one.published.sd:g})"
        used, tenth = f"{one.mean:.1f} ({one.sd:.1f})", f"{one.tenth:.0f} min or more ({one.tenth_by_curve:.0f})"
        logged = f"{one.cases:>6}   {own:<13}{one.standard_error:>11.1f}"
        yield f"{one.operator:<13}{logged}   {published:<10}{used:<14}{tenth}"
    left = sorted(set(log.minutes) - {one.operator for one in found})
    if left:
        yield from hung(
            f"Fewer than {policy.least_cases} operations, so the published minutes stay: {', '.join(left)}."
        )
    yield ""
    yield from hung(
        "Minutes; the standard error is the mean's. Where the last two differ much, the curve does not fit. To use: "
        f"the published mean and spread counted as {policy.published_counts_as} operations beside those logged "
        f"({policy.basis.words})."
    )
    yield ""
    yield "For the sessions file, once the unit has agreed to it:"
    yield ""
    yield "limits:"
    if log.turnover:
        yield f"  turnover_minutes: {sum(log.turnover) / len(log.turnover):.2f}"
    yield "  operating_minutes:"
    for one in found:
        yield f"    {one.operator}: {{mean: {one.mean:.2f}, sd: {one.sd:.2f}, cases: {one.cases}}}"
