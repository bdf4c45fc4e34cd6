"""The wall card: one side with the steps, who does each, the pauses and the first drill, read at two metres.

How high everything stands is reckoned from the widths of the fonts' letters: the card is as full as one side holds in
letters of the least height, then as large as that fullness leaves room for. It is set once; should
it not hold, once more a little barer.
"""

from __future__ import annotations

from planner.documents.card.view import COLUMN, PAUSE_BAR, Card, Said, card_view, column_mm, line_mm, sayable
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.documents.printing.choosing import as_many_as_fit
from planner.documents.printing.font_metrics import MM_A_POINT, count_lines, points_for_capital
from planner.documents.printing.pdf import font_faces, write_one_page
from planner.plan.plan import Plan

STYLES = ("base/type.css", "card/card.css")
READ_AT_M = 2
# Capitals of steps and pauses, in mm; the foot, in points, is read in the hand.
STEPS_MM = (6.0, 5.5, 5.0, 4.75, 4.5)
FOOT_PT = 12

# What card.css gives, in mm: the page within its margins, the head with its rule, and what stands round the lines of
# the box of what to settle, above the steps, round the drill, and round the foot.
PAGE, WIDTH, HEAD, BOX, ABOVE_STEPS, LAST, FOOT = 198.0, 283.0, 23.4, 4.9, 1.2, 2.3, 1.8
BOX_WIDTH, FOOT_LINE_EM = WIDTH - 6.7, 1.1
# Should a card not hold all the same, it is set once more with so much less.
SPARED = 14.0


def render_card(plan: Plan) -> bytes:
    """The card as a PDF of one A4 page. Raises PlannerError when the page cannot be set as written."""
    shown = PlanView(plan)
    return write_one_page(_page(shown, *fullest(plan, shown, room)) for room in (PAGE, PAGE - SPARED))


def fullest(plan: Plan, shown: PlanView, room: float) -> tuple[Card, float]:
    """The card that says as much as so many mm hold in the least letters, what matters most first, and the largest
    capitals in mm that hold it."""

    def fits(said: Said) -> bool:
        return height_mm(shown, card_view(plan, shown, said), STEPS_MM[-1]) <= room

    card = card_view(plan, shown, as_many_as_fit(sayable(plan, shown), fits))
    return card, next((mm for mm in STEPS_MM if height_mm(shown, card, mm) <= room), STEPS_MM[-1])


def height_mm(shown: PlanView, card: Card, capital: float) -> float:
    """How high the whole card stands with steps in capitals of that height."""
    points = points_for_capital(capital)
    line = line_mm(points)
    settle = "" if shown.is_ready else f"{shown.headline.upper()} {card.settle} {card.settle_rest}"
    boxes = [text for text in (settle, card.not_written) if text]
    boxed = sum(count_lines([(text, True)], points, BOX_WIDTH) * line + BOX for text in boxes)
    steps = max(column_mm(held, points) for held in card.columns(points))
    drill = count_lines([(f"{card.ready_for}: {card.drill}", True)], points, COLUMN)
    drill += count_lines([(card.stop_first, True)], points, COLUMN - PAUSE_BAR)
    taking_over = count_lines([(f"Take-over: {card.take_over}", True)], points, COLUMN)
    foot = count_lines([(words, True) for words in foot_words(shown, card)], FOOT_PT, WIDTH)
    return (
        HEAD + boxed + ABOVE_STEPS + steps + LAST + max(drill, taking_over) * line
        + FOOT + foot * FOOT_PT * MM_A_POINT * FOOT_LINE_EM
    )  # fmt: skip


def foot_words(shown: PlanView, card: Card) -> tuple[str, ...]:
    """What the foot says, in the order it is printed."""
    return (
        shown.draft_line,
        shown.plan.deferral[0],
        "* Not all is recorded: prepared for the worse finding." if card.prepared else "",
        "More pauses are on the plan." if card.cut_short else "",
        shown.rulebook,
    )


def _page(shown: PlanView, card: Card, capital: float) -> str:
    points = points_for_capital(capital)
    values = {"card": card, "columns": card.columns(points), "points": points, "foot": foot_words(shown, card)}
    return html.sheet("card/card.html", STYLES, font_faces(), shown, **values)
