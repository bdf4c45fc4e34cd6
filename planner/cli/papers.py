"""`planner papers`: a day's approved plans in one PDF, for the morning on which the server cannot be reached."""

import datetime
from pathlib import Path
from typing import Annotated

import typer

from planner.cli.options import RulesOption, UnitOption, rulebook_in, unit_in
from planner.wording.words import eye_words


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
    sessions: Annotated[
        Path | None,
        typer.Option(
            "--with",
            metavar="FILE",
            help="The unit's sessions file; the roster in the store comes before it.",
            show_default=False,
        ),
    ] = None,
    rules: RulesOption = None,
) -> None:
    """Write every approved plan on the lists of a day to one PDF, ordered by theatre and place.

    Its first page lists the cases, what is missing in each, and every case on the lists whose approval does not stand
    on that day or does not cover who is to operate: such a plan is left out, and the command then ends with 1 and says
    so. Each plan is for whoever the case is placed with, so --unit says at which stage they are; --with says how close
    each supervisor may be, as on the list. It reads the store itself, so
    that no server need run; an older file of that name is replaced only by a whole new one.

    Example: planner papers --day 2026-12-03 --unit unit.yaml --with sessions.yaml
    """
    from planner.batch.progress import Progress
    from planner.batch.writing import write_whole
    from planner.desk.desk import Desk
    from planner.desk.plan_in_force import plan_in_force
    from planner.desk.plans import PlanCache
    from planner.desk.roster_in_force import RosterInForce
    from planner.documents.papers.sheet import LeftOut, Place, render_papers
    from planner.errors import Fault, PlannerError
    from planner.lists.roster.shapes import read_roster
    from planner.local_time import wall
    from planner.plan.plan import Plan
    from planner.records.approved import standing_on
    from planner.records.store import Store

    on, file = day.date(), output or Path(f"papers-{day:%Y-%m-%d}.pdf")
    rulebook = rulebook_in(rules)
    held = unit_in(unit, rulebook)
    if sessions is not None and held is None:
        raise PlannerError.one("--with needs --unit", why="stages and counts of operations stand in the unit's file")
    roster = read_roster(sessions, held, rulebook) if sessions is not None and held is not None else None
    store = Store.open(create=False)
    desk = Desk(
        store, rulebook, held, PlanCache(rulebook, held), RosterInForce(store, rulebook, held, roster).lists, lambda: on
    )
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
                    plans.append((place, plan_in_force(desk, now, on)))
                except PlannerError as error:
                    left_out.append(LeftOut(place, tuple(map(str, error.faults))))
            progress.step()
    written_at = wall(datetime.datetime.now(datetime.UTC))
    write_whole(file, render_papers(on, plans, left_out, written_at, held.unit if held else None))
    typer.echo(f"wrote {file}: {len(plans)} of {len(plans) + len(left_out)} plans", err=True)
    if left_out:
        faults = [Fault(eye_words(e.place.reference, e.place.eye), "left out", "; ".join(e.because)) for e in left_out]
        raise PlannerError(faults)
