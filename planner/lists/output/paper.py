"""Lists on paper: each session as it hangs in theatre with its team brief behind it, as one tagged PDF or one page."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from planner.documents.printing import html
from planner.documents.printing.pdf import font_faces, write_pdf
from planner.lists.output.brief import Brief
from planner.lists.output.glance import Glance
from planner.shipped import templates_folder
from planner.wording import language
from planner.wording.language import say
from planner.wording.words import percent

STYLES = ("base/type.css", "brief/brief.css")


def render_brief(briefs: Sequence[Brief]) -> bytes:
    """Lists and briefs in the order given, as PDF/UA. Raises PlannerError when a page cannot be set."""
    return write_pdf(brief_page(briefs))


def brief_page(briefs: Sequence[Brief]) -> str:
    """The same as one HTML page, for the printer: its fonts are the shipped ones."""
    days = ", ".join(dict.fromkeys(brief.day for brief in briefs))
    return printed("brief/brief.html", STYLES, briefs=briefs, title=say("Lists and team brief: %(days)s", days=days))


def render_glance(shown: Glance) -> bytes:
    """The weeks at a glance, a page or more a week, as PDF/UA. Raises PlannerError when a page cannot be set."""
    title = say("Lists at a glance: %(weeks)s", weeks=", ".join(week.title for week in shown.weeks))
    return write_pdf(printed("glance/glance.html", ("base/type.css", "glance/glance.css"), g=shown, title=title))


def printed(template: str, styles: tuple[str, ...], **values: object) -> str:
    """A page of the templates folder with its styles and the shipped fonts."""
    sheets = Markup("\n").join(Markup((templates_folder() / name).read_text("utf-8")) for name in styles)
    return html.environment().get_template(template).render(
        language=language.spoken(), print_styles=Markup(font_faces()) + sheets, percent=percent, **values
    )  # fmt: skip
