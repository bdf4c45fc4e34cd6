"""Lists on paper: each session as it hangs in theatre with its team brief behind it, as one tagged PDF or one page."""

from __future__ import annotations

from collections.abc import Sequence

from planner.documents.brief.shapes import Brief
from planner.documents.printing import html
from planner.documents.printing.pdf import font_faces, write_pdf
from planner.wording.words import percent

STYLES = ("base/type.css", "brief/brief.css")


def render_brief(briefs: Sequence[Brief]) -> bytes:
    """Lists and briefs in the order given, as PDF/UA. Raises PlannerError when a page cannot be set."""
    return write_pdf(brief_page(briefs))


def brief_page(briefs: Sequence[Brief]) -> str:
    """The same as one HTML page, for the printer: its fonts are the shipped ones."""
    title = f"Lists and team brief: {', '.join(dict.fromkeys(brief.day for brief in briefs))}"
    return html.sheet("brief/brief.html", STYLES, font_faces(), briefs=briefs, title=title, percent=percent)
