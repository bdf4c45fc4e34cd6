"""The plan as one HTML page: self-contained, escaped, strict about what a template may name."""

from __future__ import annotations

import base64
from collections.abc import Callable
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from planner.documents.plan import words
from planner.documents.plan.front import Front, front
from planner.documents.plan.operation import Operation, operation
from planner.documents.plan.view import PlanView
from planner.documents.preparation import words as preparation_words
from planner.plan.plan import Plan
from planner.shipped import templates_folder
from planner.wording.words import counted

# Text is set in the narrow cut, the large display words in the wide one.
FACES = (
    ("Plan Text", 400, "IBMPlexSansCondensed-Regular.woff2"),
    ("Plan Text", 700, "IBMPlexSansCondensed-Bold.woff2"),
    ("Plan Display", 700, "IBMPlexSans-Bold.woff2"),
)
PRINT_STYLES = ("base/type.css", "base/page.css", "plan/plan.css")
SCREEN_STYLES = ("base/screen.css",)


def render_html(plan: Plan) -> str:
    """The plan as one page that carries its own styles and fonts. Raises PlannerError when templates are missing."""
    shown = PlanView(plan)
    return page(shown, front(shown), operation(shown), _embedded_fonts())


def page(plan: PlanView, first_side: Front | None, steps_side: Operation | None, font_faces: str) -> str:
    """The page of a view, with the given `@font-face` rules; one side alone when the other is None."""
    sides = {"front": first_side, "operation": steps_side, "screen_styles": _sheets(SCREEN_STYLES)}
    return sheet("plan/plan.html", PRINT_STYLES, font_faces, plan, **sides)


def sheet(
    template: str, styles: tuple[str, ...], font_faces: str, plan: PlanView | None = None, **values: object
) -> str:
    """Any sheet, of one plan or of none. `template` and `styles` are names in the templates folder."""
    print_styles = Markup(font_faces) + _sheets(styles)
    return environment().get_template(template).render(p=plan, print_styles=print_styles, **values)


def _sheets(names: tuple[str, ...]) -> Markup:
    return Markup("\n").join(Markup((templates_folder() / name).read_text("utf-8")) for name in names)


def fonts_folder() -> Path:
    """Where the shipped fonts lie."""
    return templates_folder() / "base" / "fonts"


def font_faces(address: Callable[[Path], str]) -> str:
    """`@font-face` rules for `FACES`, each file at the address that `address` gives for it."""
    return "".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; '
        f'src: url("{address(fonts_folder() / name)}") format("woff2"); }}\n'
        for family, weight, name in FACES
    )


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
    made.filters |= {"drawn": Markup, **{each.__name__: each for each in (*words.FILTERS, *preparation_words.FILTERS)}}
    return made


@cache
def _embedded_fonts() -> str:
    return font_faces(lambda path: "data:font/woff2;base64," + base64.b64encode(path.read_bytes()).decode("ascii"))
