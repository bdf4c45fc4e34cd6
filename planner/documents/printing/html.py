"""The plan as one HTML page: self-contained, escaped, strict about what a template may name."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from planner.documents.plan import words
from planner.documents.plan.view import PlanView
from planner.documents.preparation import words as preparation_words
from planner.documents.printing.fonts import font_faces
from planner.documents.theatre.picture import tier_picture
from planner.documents.theatre.sheet import TheatreSheet, theatre_sheet
from planner.plan.plan import Plan
from planner.shipped import templates_folder
from planner.wording.words import counted

PRINT_STYLES = ("base/type.css", "base/page.css", "theatre/theatre.css", "preparation/preparation.css")
# Only in a page that a browser opens; the PDF is set without them.
BROWSER_STYLES = (("screen", "base/screen.css"), ("print", "base/browser_print.css"))


def render_html(plan: Plan) -> str:
    """The plan as one page that carries its own styles and fonts. Raises PlannerError when templates are missing."""
    shown = PlanView(plan)
    styles = {medium: _sheets((name,)) for medium, name in BROWSER_STYLES}
    return page(shown, theatre_sheet(shown), _embedded_fonts(), browser_styles=styles)


def page(
    plan: PlanView,
    theatre: TheatreSheet | None,
    font_faces: str,
    preparation: bool = True,
    browser_styles: Mapping[str, Markup] | None = None,
) -> str:
    """The page of a view, with the given `@font-face` rules: its theatre sheet, unless that is None, and behind it the
    preparation. `browser_styles` by medium, for a page that a browser opens."""
    parts = {"sheet": theatre, "preparation": preparation, "browser_styles": browser_styles or {}}
    return sheet("plan/plan.html", PRINT_STYLES, font_faces, plan, **parts)


def sheet(
    template: str, styles: tuple[str, ...], font_faces: str, plan: PlanView | None = None, **values: object
) -> str:
    """Any sheet, of one plan or of none. `template` and `styles` are names in the templates folder."""
    print_styles = Markup(font_faces) + _sheets(styles)
    return environment().get_template(template).render(p=plan, print_styles=print_styles, **values)


def _sheets(names: tuple[str, ...]) -> Markup:
    return Markup("\n").join(Markup((templates_folder() / name).read_text("utf-8")) for name in names)


def templates_in(folder: Path) -> Environment:
    """The templates of a folder: everything escaped, a missing name is an error."""
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["counted"] = counted
    return made


@cache
def environment() -> Environment:
    """The templates of printed sheets."""
    made = templates_in(templates_folder())
    # A drawing is made by this program out of numbers and its own words, already escaped.
    own = (*words.FILTERS, *preparation_words.FILTERS, tier_picture)
    made.filters |= {"drawn": Markup, **{each.__name__: each for each in own}}
    return made


@cache
def _embedded_fonts() -> str:
    return font_faces(lambda path: "data:font/woff2;base64," + base64.b64encode(path.read_bytes()).decode("ascii"))
