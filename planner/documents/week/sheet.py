"""The weeks at a glance on paper, a page or more a week."""

from __future__ import annotations

from planner.documents.printing import html
from planner.documents.printing.pdf import font_faces, write_pdf
from planner.documents.week.shapes import WeeksAtAGlance
from planner.wording.words import percent

STYLES = ("base/type.css", "week/week.css")


def render_weeks(view: WeeksAtAGlance) -> bytes:
    """The weeks as PDF/UA. Raises PlannerError when a page cannot be set."""
    title = f"Lists at a glance: {', '.join(view.weeks)}"
    return write_pdf(html.sheet("week/week.html", STYLES, font_faces(), g=view, title=title, percent=percent))
