"""Both sides of the theatre sheet, chosen before anything is set."""

from __future__ import annotations

from dataclasses import dataclass

from planner.documents.plan.view import PlanView
from planner.documents.theatre import back, front


@dataclass(frozen=True)
class TheatreSheet:
    """`fits` is false where even the least of a side is taller than its paper."""

    front: front.Front
    back: back.Back
    fits: bool


def theatre_sheet(p: PlanView, spare: float = 0) -> TheatreSheet:
    """The sheet of a plan, each side as full as it holds with `spare` millimetres left over."""
    decide, front_fits = front.front_side(p, front.ROOM - spare)
    operate, back_fits = back.back_side(p, back.ROOM - spare)
    return TheatreSheet(decide, operate, front_fits and back_fits)
