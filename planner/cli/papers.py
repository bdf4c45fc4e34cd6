"""`planner papers`: a day's approved plans in one PDF, for the morning on which the server cannot be reached."""

import datetime
from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import RulesOption, UnitOption, rulebook_in, unit_in


def papers(
    day: Annotated[
        datetime.datetime,
        typer.Option("--day", metavar="DATE", formats=["%Y-%m-%d"], help="The day of the lists.", show_default=False),
    ],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="Where to. [default: papers-DATE.pdf]", show_default=False),
    ] = None,
    unit: UnitOption = None,
    rules: RulesOption = None,
) -> None:
    """Write every approved plan on the lists of a day to one PDF, ordered by theatre and place.

    Its first page lists the cases, what is missing in each, and every case on the lists whose approval does not stand
    on that day: such a plan is left out, and the command then ends with 1 and says so. It reads the store itself, so
    that no server need run; an older file of that name is replaced only by a whole new one.

    Example: planner papers --day 2026-12-03 --unit unit.yaml
    """
    from planner.assess.assess import assess
    from planner.case import read_case
    from planner.cli.progress import Progress
    from planner.cli.writing import write_whole
    from planner.documents.papers import LeftOut, Place, render_papers
    from planner.errors import Fault, PlannerError
    from planner.local_time import wall
    from planner.plan.make import make_plan
    from planner.plan.plan import Plan
    from planner.records.approved import plan_as_approved, standing_on
    from planner.records.store import Store

    on, file = day.date(), output or Path(f"papers-{day:%Y-%m-%d}.pdf")
    rulebook = rulebook_in(rules)
    held = unit_in(unit, rulebook)
    store = Store.open(create=False)
    plans: list[tuple[Place, Plan]] = []
    left_out: list[LeftOut] = []
    listed = store.list_of(on)
    with Progress(len(listed), shown=True) as progress:
        for now in listed:
            at = now.allocation
            if at is None:
                continue
            place = Place(at.theatre, at.place, now.case.reference, now.case.eye, at.trainee, at.supervisor)
            standing = standing_on(now, on, rulebook)
            if standing is None:
                left_out.append(LeftOut(place, ("no approval stands: it was withdrawn, or has lapsed",)))
            elif standing.state != "stands":
                left_out.append(LeftOut(place, standing.because))
            else:
                try:
                    case = read_case(dict(now.version.document), rulebook.vocabulary)
                    plan = make_plan(assess(case, rulebook, held, on), rulebook, held)
                    plans.append((place, plan_as_approved(store, now, plan, on, rulebook)))
                except PlannerError as error:
                    left_out.append(LeftOut(place, tuple(map(str, error.faults))))
            progress.step()
    written_at = wall(datetime.datetime.now(datetime.UTC))
    write_whole(file, render_papers(on, plans, left_out, written_at, held.unit if held else None))
    typer.echo(f"wrote {file}: {len(plans)} of {len(plans) + len(left_out)} plans", err=True)
    if left_out:
        faults = [Fault(f"{e.place.reference}, {e.place.eye} eye", "left out", "; ".join(e.because)) for e in left_out]
        raise PlannerError(faults)
