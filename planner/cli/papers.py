"""`planner papers`: a day's approved plans in one PDF, for the morning on which the server cannot be reached."""

import datetime
from pathlib import Path
from typing import Annotated, Literal

from planner.cli.options import RulesOption, UnitOption, desk_in, option, write
from planner.errors import Fault, PlannerError
from planner.wording.words import eye_words


def papers(
    day: Annotated[datetime.datetime, option("--day", "DATE", "The day of the lists.", formats=["%Y-%m-%d"])],
    output: Annotated[Path | None, option("--output", "FILE", "Where to. [default: papers-DATE.pdf]", "-o")] = None,
    unit: UnitOption = None,
    sessions: Annotated[
        Path | None, option("--with", "FILE", "The unit's sessions file; the roster in the store comes before it.")
    ] = None,
    rules: RulesOption = None,
    sheet: Annotated[
        Literal["theatre"] | None,
        option("--sheet", None, "Theatre sheets alone. [default: each followed by its preparation]"),
    ] = None,
) -> None:
    """Write every approved plan on the lists of a day to one PDF, ordered by theatre and place.

    Its first page lists the cases, what is missing in each, and every case on the lists whose approval does not stand
    on that day or does not cover who is to operate: such a plan is left out, as is one that cannot be printed, and the
    command then ends with 1 and says so. Each plan is for whoever the case is placed with, so --unit says at which
    stage they are; --with says how close each supervisor may be, as on the list. It reads the store itself, so that no
    server need run; an older file of that name is replaced only by a whole new one.

    Example: planner papers --day 2026-12-03 --unit unit.yaml --with sessions.yaml
    """
    from planner.batch.progress import Progress
    from planner.desk.plan_in_force import paper_of
    from planner.documents.papers.sheet import LeftOut, render_papers
    from planner.documents.printing.pdf import PARTS
    from planner.local_time import wall

    on, file = day.date(), output or Path(f"papers-{day:%Y-%m-%d}.pdf")
    desk = desk_in(rules, unit, sessions)
    papers = []
    listed = desk.store.list_of(on)
    with Progress(len(listed), shown=True) as progress:
        for now in listed:
            papers.append(paper_of(desk, now, on))
            progress.step()
    plans = [paper for paper in papers if not isinstance(paper, LeftOut)]
    left_out = [paper for paper in papers if isinstance(paper, LeftOut)]
    written_at = wall(desk.clock())
    parts = tuple(part for part in PARTS if sheet in (None, part))
    unit_name = desk.unit.unit if desk.unit else None
    content = render_papers(on, plans, tuple(left_out), written_at, unit_name, parts, left_out.append)
    write(file, content, f"{len(papers) - len(left_out)} of {len(papers)} plans")
    if left_out:
        faults = [Fault(eye_words(e.place.reference, e.place.eye), "left out", "; ".join(e.because)) for e in left_out]
        raise PlannerError(faults)
