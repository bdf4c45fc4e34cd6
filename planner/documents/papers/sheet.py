"""A day's papers: every approved plan on its lists in one PDF, for the morning when the server cannot be reached."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from planner.documents.figures import day, moment
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.pdf import PARTS, Part, font_faces, rendered, write_together
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.wording.words import side_of

STYLES = ("base/type.css", "papers/papers.css")
# Of what is to settle, and of what is not recorded, so many print on the first page; the plan holds all.
SHOWN = 4


@dataclass(frozen=True)
class Place:
    """A case's place on the lists: `order` from 1 on in its theatre; people by role code, `trainee` may be none."""

    theatre: str
    order: int
    reference: str
    eye: str
    trainee: str | None
    supervisor: str


@dataclass(frozen=True)
class LeftOut:
    """A place whose plan is not among the papers, and each reason why not."""

    place: Place
    because: tuple[str, ...]


def render_papers(
    on: datetime.date,
    plans: Sequence[tuple[Place, Plan]],
    left_out: Sequence[LeftOut],
    written_at: str,
    unit: str | None = None,
    parts: Sequence[Part] = PARTS,
    leave_out: Callable[[LeftOut], None] = lambda place: None,
) -> bytes:
    """The papers of a day as one tagged PDF, plans in the order given, behind a first page that accounts for all,
    written at an ISO time, the unit's own. A plan that cannot be set in type is left out too, with why, and given to
    `leave_out`. Raises PlannerError when the first page cannot be set."""
    here, documents, missing = [], [], list(left_out)
    for place, plan in plans:
        try:
            documents.append(rendered(plan, parts))
        except PlannerError as error:
            why = (f"cannot be printed: {fault.what}" + f" ({fault.why})" * bool(fault.why) for fault in error.faults)
            missing.append(LeftOut(place, tuple(why)))
            leave_out(missing[-1])
        else:
            here.append((place, plan))

    def cover(sheets: list[int]) -> str:
        lines = [
            {"place": place, "view": PlanView(plan), "sheets": count}
            for (place, plan), count in zip(here, sheets, strict=True)
        ]
        return html.sheet(
            "papers/papers.html", STYLES, font_faces(), day=day(on), unit=unit or "not recorded",
            weekday=f"{on:%A}", written_at=moment(written_at), lines=lines,
            left_out=missing, side_of=side_of, shown=SHOWN, sheets=sum(sheets), parts=parts,
            theatres=len({place.theatre for place, _ in here}),
        )  # fmt: skip

    return write_together(documents, cover)
