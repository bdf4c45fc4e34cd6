"""The debrief sheet: what was done beside what was planned, ticked by hand after the operation.

It asks in the order of an outcome's fields in the records: day, operator, supervisor, steps, complications, note.
"""

from __future__ import annotations

from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.font_metrics import count_lines
from planner.documents.printing.pdf import font_faces, write_pdf
from planner.plan.plan import Plan
from planner.rulebook.shapes import MODES
from planner.wording.people import mode_words

STYLES = ("base/type.css", "base/page.css", "debrief/debrief.css")
# What debrief.css gives: the type size, and the widths in mm of what was planned and of a pause beside its box.
POINTS, PLANNED, PAUSE = 9.5, 62.0, 58.0
# The steps of a sheet of one side have so many lines at most, each step at least two.
ONE_SIDE_LINES, LEAST = 34, 2


def render_debrief(plan: Plan) -> bytes:
    """The sheet as a PDF: one A4 side for a routine eye, else two. Raises PlannerError when it cannot be set."""
    shown = PlanView(plan)
    values = {
        "complications": complications(shown),
        "modes": [mode_words(mode) for mode in MODES],
        "sides": 1 if step_lines(shown) <= ONE_SIDE_LINES else 2,
    }
    return write_pdf(html.sheet("debrief/debrief.html", STYLES, font_faces(), shown, **values))


def step_lines(shown: PlanView) -> int:
    """Printed lines that the table of steps takes."""
    lines = 0
    for step in shown.steps:
        planned = count_lines([(step.step.label, True), (f"{step.who}: {step.step.headline}", False)], POINTS, PLANNED)
        pauses = sum(count_lines([(what, False)], POINTS, PAUSE) for what, _ in step.pause)
        lines += max(LEAST, planned, pauses)
    return lines


def complications(shown: PlanView) -> tuple[str, ...]:
    """What may have happened, to tick: every drill's label, those likely in this eye first."""
    return tuple(each.label for each in (*shown.drills, *shown.may_be_drills, *shown.other_drills))
