"""The debrief sheet: every planned step beside room to write what was done, filled by hand after the operation."""

from __future__ import annotations

from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.pdf import font_faces, write_pdf
from planner.plan.plan import Plan

STYLES = ("base/type.css", "base/page.css", "debrief/debrief.css")


def render_debrief(plan: Plan) -> bytes:
    """The sheet as a PDF of two A4 pages. Raises PlannerError when they cannot be set as written."""
    shown = PlanView(plan)
    return write_pdf(
        html.sheet("debrief/debrief.html", STYLES, font_faces(), shown, complications=complications(shown))
    )


def complications(shown: PlanView) -> tuple[str, ...]:
    """What may have happened, to tick: nothing at all, then every drill's label, those likely in this eye first."""
    return ("None", *(each.label for each in (*shown.drills, *shown.may_be_drills, *shown.other_drills)))
