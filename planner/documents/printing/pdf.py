"""The plan as a tagged PDF (PDF/UA-1): no fetch but the shipped fonts, the same bytes for the same plan."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache
from typing import Any, Literal

from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from planner.documents.plan.embedded import Finisher, embedding, record_of
from planner.documents.plan.view import PlanView
from planner.documents.printing import fonts, html
from planner.documents.printing.font_metrics import as_drawn
from planner.documents.theatre.sheet import theatre_sheet
from planner.errors import PlannerError
from planner.plan.plan import Plan

Part = Literal["theatre", "preparation"]
PARTS: tuple[Part, ...] = ("theatre", "preparation")
# Left free at a second try, in mm, where what was measured did not hold.
SPARE = 9.0


def render_pdf(plan: Plan, parts: Sequence[Part] = PARTS) -> bytes:
    """The plan's theatre sheet, its preparation, or both, as PDF. Raises PlannerError when the page would fetch
    anything, cannot be set without a warning, or the theatre sheet takes more than its two sides."""
    return _written(rendered(plan, parts), embedding(record_of(plan)))


def rendered(plan: Plan, parts: Sequence[Part] = PARTS) -> Any:
    """The plan set in type, its theatre sheet on exactly two sides. Raises PlannerError as `render_pdf` does."""
    shown, preparation = PlanView(plan), "preparation" in parts
    if "theatre" not in parts:
        return _rendered(html.page(shown, None, font_faces()))
    for spare in (0, SPARE):
        document = _rendered(html.page(shown, theatre_sheet(shown, spare), font_faces(), preparation))
        if _is_on_two_sides(document, preparation):
            return document
    raise PlannerError.one(
        f"the theatre sheet of {shown.case}, {shown.side.lower()}, does not fit its two sides",
        "plan",
        "more is recorded of this eye than they hold in type that can be read",
        "print the preparation alone (`--sheet preparation`), and report this case",
    )


def _is_on_two_sides(document: Any, preparation: bool) -> bool:
    """Whether the back begins on the second page, and the preparation, or nothing, on the third."""
    first: dict[str, int] = {}
    for number, sheet in enumerate(document.pages):
        for name in sheet.anchors:
            first.setdefault(name, number)
    ends = first.get("preparation") if preparation else len(document.pages)
    return first.get("operate") == 1 and ends == 2


def count_pages(page: str) -> int:
    """How many pages one HTML page is set on. Raises PlannerError."""
    return len(_rendered(page).pages)


def write_together(documents: Sequence[Any], cover: Callable[[list[int]], str]) -> bytes:
    """Several documents set in type in one PDF, each counting its own sheets, behind the page that `cover`
    makes of how many each takes. Raises PlannerError as `write_pdf` does."""
    first = _rendered(cover([len(document.pages) for document in documents]))
    together = first.copy([sheet for document in (first, *documents) for sheet in document.pages])
    return _written(together, None)


def _written(document: Any, finish: Finisher | None) -> bytes:
    with _heard() as warnings:
        made = document.write_pdf(pdf_variant="pdf/ua-1", finisher=finish)
    if warnings:
        raise PlannerError.one(f"the pages cannot be written: {warnings[0]}", "plan")
    assert isinstance(made, bytes)
    return made


def write_one_page(pages: Iterable[str]) -> bytes:
    """The first of several HTML pages that is set on one sheet, else the last. Raises PlannerError as `write_pdf`."""
    for page in pages:
        document = _rendered(page)
        if len(document.pages) == 1:
            break
    return _written(document, None)


def _rendered(page: str) -> Any:
    options = {"pdf_variant": "pdf/ua-1", "font_config": _font_configuration()}
    return _set(page, lambda sheet: sheet.render(**options))


def write_pdf(page: str) -> bytes:
    """Set one HTML page; only the shipped fonts are read. Raises PlannerError."""
    options = {"pdf_variant": "pdf/ua-1", "font_config": _font_configuration()}
    made = _set(page, lambda sheet: sheet.write_pdf(**options))
    assert isinstance(made, bytes)
    return made


def _set(page: str, setting: Callable[[HTML], Any]) -> Any:
    """What `setting` makes of a page. Raises PlannerError when that fetches anything or warns."""
    fetcher = _FontsOnly()
    made = None
    with _heard() as warnings, suppress(RefusedFetch):
        made = setting(HTML(string=as_drawn(page), url_fetcher=fetcher))
    if fetcher.refused:
        raise PlannerError.one(
            f"the page asks for {fetcher.refused[0]}",
            "plan",
            "a printed plan fetches nothing but its own fonts",
            "take the reference out of the template",
        )
    if warnings:
        raise PlannerError.one(f"the page cannot be set as written: {warnings[0]}", "plan", hint="correct the template")
    return made


class RefusedFetch(FatalURLFetchingError):  # type: ignore[misc]
    """Stops a render that asks for something outside the fonts folder."""


class _FontsOnly(URLFetcher):  # type: ignore[misc]
    """Reads the shipped fonts; keeps what else was asked for, since a drawing inside the page hides the refusal."""

    def __init__(self) -> None:
        super().__init__()
        self.refused: list[str] = []

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        if url not in _addresses():
            self.refused.append(url)
            raise RefusedFetch(url)
        return super().fetch(url, headers)


class _Warnings(logging.Handler):
    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.messages.append(record.getMessage())


@contextmanager
def _heard() -> Iterator[list[str]]:
    """What WeasyPrint warns of meanwhile, whatever level the program around it logs at."""
    logger, handler = logging.getLogger("weasyprint"), _Warnings()
    level = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.WARNING)
    try:
        yield handler.messages
    finally:
        logger.setLevel(level)
        logger.removeHandler(handler)


@cache
def font_faces() -> str:
    """The `@font-face` rules of the shipped fonts, which alone may be read."""
    return fonts.font_faces(lambda path: path.resolve().as_uri())


@cache
def _addresses() -> frozenset[str]:
    return frozenset((fonts.fonts_folder() / name).resolve().as_uri() for _, _, name in fonts.FACES)


@cache
def _font_configuration() -> FontConfiguration:
    # Kept for the life of the process: unpacking the fonts takes as long as setting half a page.
    return FontConfiguration()
