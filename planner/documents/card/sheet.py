"""The theatre card: a sheet for the wall with the steps, the pauses and the first drill, in letters read at two metres.

It is as full as one side holds in letters of the least height, and then as large as that fullness leaves room for.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence

from planner.documents.card.view import CROWDED, DETAILS, Card, CardDetail, card_view
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.font_metrics import capital_mm, points_for_capital, small_letter_mm, smallest_letter_mm
from planner.documents.printing.pdf import count_pages, font_faces, write_pdf
from planner.plan.plan import Plan

STYLES = ("base/type.css", "card/card.css")
READ_AT_M = 2
# Capitals of steps and pauses, in mm. In the last, for the fullest of plans, even an x is as high as a letter that an
# eye of 6/6 reads at two metres; in the foot, which is read in the hand, a capital is.
STEPS_MM = (6.0, 5.5, 5.0, 4.75, 4.5)
CROWDED_MM = (4.5, 4.25, 4.0)
FOOT_PT = 12


def render_card(plan: Plan) -> bytes:
    """The card as a PDF of one A4 page. Raises PlannerError when the page cannot be set as written."""
    shown = PlanView(plan)

    def page(card: Card, capital: float) -> str:
        points = points_for_capital(capital)
        heights = {
            "smallest": capital_mm(FOOT_PT),
            "steps": capital,
            "small": small_letter_mm(points),
            "read": smallest_letter_mm(READ_AT_M),
        }
        values = {"card": card, "columns": card.columns(points), "points": points, "mm": heights}
        return html.sheet("card/card.html", STYLES, font_faces(), shown, **values)

    def fits(card: Card, capital: float) -> bool:
        return count_pages(page(card, capital)) == 1

    def cards(details: tuple[CardDetail, ...]) -> tuple[Card, ...]:
        return tuple(dict.fromkeys(card_view(plan, shown, detail) for detail in details))

    return write_pdf(page(*card_that_fits(((cards(DETAILS), STEPS_MM), (cards(CROWDED), CROWDED_MM)), fits)))


def card_that_fits(
    tries: Sequence[tuple[Sequence[Card], Sequence[float]]], fits: Callable[[Card, float], bool]
) -> tuple[Card, float]:
    """Of the first try (cards from the fullest on, heights from the largest on) that has one, the fullest card that
    fits in its least letters, in the largest that it fits; the last of the last try when nothing fits."""

    def first(sheets: list[tuple[Card, float]]) -> tuple[Card, float] | None:
        """By halving, since a sheet is slow to set and all after the first that fits do so too."""
        at = bisect_left(sheets, True, key=lambda sheet: fits(*sheet))
        return sheets[at] if at < len(sheets) else None

    for cards, heights in tries:
        if fullest := first([(card, heights[-1]) for card in cards]):
            return first([(fullest[0], height) for height in heights[:-1]]) or fullest
    cards, heights = tries[-1]
    return cards[-1], heights[-1]
