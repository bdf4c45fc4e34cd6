"""The front of the theatre sheet: which eye, both readings of its tier, what to settle, re-check, approval."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import ceil, floor
from textwrap import shorten
from typing import Generic, TypeVar

from planner.assess.assessment import FactorState, Lever
from planner.documents.plan.view import PlanView
from planner.documents.plan.words import by_who_settles, decided, factor_words, joined, lever_words, remarks
from planner.documents.printing.font_metrics import MM_A_POINT, count_lines
from planner.documents.theatre.filling import SIZES, SMALL, Item, filled, lines_mm, runs_mm, text_mm

# Millimetres, as theatre.css has them, rounded up by some 6 in all, of which the side takes 2 back. The side between
# its margins; the facts beside side and label; what stands beside the drawing; the cells of tier, supervisor and
# trainee; headings; the frame of what to settle with its heading.
ROOM = 297 - 8 - 12.5 + 2.0
WIDTH, FACTS, BESIDE, DRAWN = 192.0, 70.0, 113.0, 72.0
VERDICT = (57.5, 71.5, 53.0)
MASTHEAD, HEADING, SUBHEADING, LARGE = 21.0, 6.6, 1.0, 8.4
FRAME, FRAMED = 11.2, 183.0
PICTURE, DRAWING = 9.5, 50.4
SCALE_ROW, SCALE_HEAD = 4.1, 4.4
# A sitting's answer, what a cell's edges take, the line to write on; how many boxes stand in a row at most.
NOW, CELL, WRITE, MOST_WRITE, LEAST_BOXES, MOST_BOXES = 32.0, 2.6, 4.6, 11.0, 4, 6
APPROVAL_ROWS, REMARKS, CONTACT = 3, 155.0, 56.0
# Findings of a sitting that always stand in the strip; letters of remarks, and of the first of a list, that always do.
ASKED = 1
REMARK, BEGUN = 200, 90

# Before what is worse than planned, at the table.
STOP = "stop if"
# A reference of more letters is set smaller; how much wider the face that it is set in stands.
LONG, DISPLAY = 16, 1.3

T = TypeVar("T")
# Rows of what is asked, each with what is worse than planned.
Boxes = tuple[tuple[tuple[str, str], ...], ...]


@dataclass(frozen=True)
class Shown(Generic[T]):
    """The items of a list that stand on the front, and how many more only the preparation has."""

    items: tuple[T, ...]
    more: int

    @property
    def rest(self) -> str:
        """What is said after the items of how many more there are; nothing where there are no items, or no more."""
        return f"and {self.more} more in the preparation" if self.more and self.items else ""


@dataclass(frozen=True)
class Unrecorded:
    """What was not recorded and is looked for at one sitting: the first findings, and how many more there are."""

    look: str
    worse: Shown[str]

    @property
    def words(self) -> str:
        return f"{STOP} {', '.join(self.worse.items)}" + (f", or {self.worse.more} more" if self.worse.more else "")


@dataclass(frozen=True)
class Front:
    """The front at one type size; each list says how many of its items stand only in the preparation."""

    points: float
    reasons: Shown[tuple[str, str]]
    decided: Shown[str]
    factors: Shown[FactorState]
    queries: Shown[str]
    levers: Shown[Lever]
    captions: Shown[str]
    factor_names: str
    moves: str
    uncounted: str
    remarks: str
    deferral: str
    who_settles: bool
    standing: bool
    because: str
    unrecorded: tuple[Unrecorded, ...]
    boxes: Boxes
    write_mm: float = WRITE

    @property
    def elsewhere(self) -> str:
        """What stands only in the preparation of lists that are cut to nothing here, and why else the tier is so."""
        lists = (
            (self.factors, "risk factor", "risk factors"),
            (self.queries, "query about the record", "queries about the record"),
            (self.levers, "finding that can be put right", "findings that can be put right"),
        )  # fmt: skip
        parts = [f"{n.more} {one if n.more == 1 else many}" for n, one, many in lists if n.more and not n.items]
        if self.decided.more:
            parts.insert(0, f"{self.decided.more} more reason{'' if self.decided.more == 1 else 's'} for the tier")
        left = ", ".join(parts)
        return f"In the preparation: {left}." if left else ""


def front_side(p: PlanView, room: float = ROOM) -> tuple[Front, bool]:
    """The front as full as `room` millimetres hold, and whether its least fits."""
    reasons, why = by_who_settles(p.to_settle), decided(p.assessment.tier.decided_by)
    boxes = {points: _boxes(p, points) for points in SIZES}
    lists = {
        "reason": reasons, "factor": p.factors, "query": p.queries, "decided": why, "lever": p.assessment.levers,
        "caption": p.drawing.captions,
    }  # fmt: skip

    def items(name: str, start: int, stop: int = 99) -> list[Item]:
        return [(name, n) for n in range(start, min(stop, len(lists[name])))]

    def asked(start: int, stop: int = 99) -> list[Item]:
        longest = max((len(one.worse) for one in p.unknown), default=0)
        return [(one.look, n) for n in range(start, min(stop, longest)) for one in p.unknown if n < len(one.worse)]

    wanted = [
        # The foot of every page says it too.
        "standing",
        "who settles", "because", "deferral", "remarks", *items("reason", 0, 2), *items("decided", 0, 1),
        *asked(ASKED, 3), "factor names", "uncounted", "moves",
        *items("reason", 2, 6), *items("factor", 0, 5), *items("decided", 1, 3), *items("query", 0, 2),
        *items("lever", 0, 2), *asked(3, 6),
    ]  # fmt: skip
    also = [
        *items("caption", 0), *asked(6), *items("reason", 6), *items("factor", 5), *items("decided", 3),
        *items("query", 2), *items("lever", 2),
    ]  # fmt: skip

    def make(chosen: frozenset[Item], points: float) -> Front:
        return _front(p, reasons, why, boxes[points], chosen, points)

    side, fits = filled(make, wanted, also, lambda front: _height(p, front) <= room)
    # What is left over is room to write in.
    spare = max(0.0, room - _height(p, side)) / (len(side.boxes) + APPROVAL_ROWS)
    return replace(side, write_mm=floor(10 * (WRITE + min(spare, MOST_WRITE - WRITE))) / 10), fits


def _front(
    p: PlanView, reasons: list[tuple[str, str]], why: list[str], boxes: Boxes, chosen: frozenset[Item], points: float
) -> Front:
    def shown(name: str, whole: Iterable[T], least: int = 0) -> Shown[T]:
        items = tuple(whole)
        count = next((n for n in range(least, len(items)) if (name, n) not in chosen), len(items))
        return Shown(items[:count], len(items) - count)

    def begun(name: str, text: str) -> str:
        """The first of a list, which always stands: whole where there is room."""
        return text if (name, 0) in chosen else shorten(text, BEGUN, placeholder=" … (whole in the preparation)")

    reasons = [*((begun("reason", what), who) for what, who in reasons[:1]), *reasons[1:]]
    why = [*(begun("decided", line) for line in why[:1]), *why[1:]]
    said, factors, names = remarks(p.plan.approval), shown("factor", p.factors), ""
    if "factor names" in chosen and factors.more:
        names = joined(state.label for state in p.factors[len(factors.items) :])
        factors = Shown(factors.items, 0)
    moves = f"Settled by: {p.settles_together}" if p.readings and p.settles_together else ""
    return Front(
        points, shown("reason", reasons, 1),
        shown("decided", why, 1), factors,
        shown("query", p.queries), shown("lever", p.assessment.levers), shown("caption", p.drawing.captions),
        names,
        moves if "moves" in chosen else "",
        p.risk.uncounted_first if "uncounted" in chosen else p.risk.uncounted_number,
        said if "remarks" in chosen else shorten(said, REMARK, placeholder=" … (whole in the preparation)"),
        " ".join(p.plan.deferral if "deferral" in chosen else p.plan.deferral[:-1]),
        "who settles" in chosen,
        "standing" in chosen,
        because(p) if "because" in chosen else "",
        tuple(Unrecorded(one.look, shown(one.look, one.worse, ASKED)) for one in p.unknown),
        boxes,
    )  # fmt: skip


def because(p: PlanView) -> str:
    """What decides how close the supervisor is."""
    return "; ".join(reason.words for reason in p.plan.supervision.because)


def _height(p: PlanView, front: Front) -> float:
    """The side's height in mm, block by block as the template sets it."""
    points, planned = front.points, p.plan.supervision

    def text(words: str, width: float, bold: bool = False, size: float = points) -> float:
        return text_mm(words, size, width, bold) if words else 0

    def run(bold: str, plain: str, width: float, size: float = points) -> float:
        return runs_mm(((bold, True), (plain, False)), size, width)

    # The display face is wider than the one that is measured.
    case_pt = 20 if len(p.case) <= LONG else 15
    case = count_lines([(p.case, True)], DISPLAY * case_pt, FACTS) * 1.05 * case_pt * MM_A_POINT
    facts = case + sum(text(words, FACTS) for words in (planned.stage_label, f"{p.unit}. Judged on {p.date}"))
    masthead = 1.2 + max(MASTHEAD, facts + text(p.rulebook, FACTS, size=SMALL))
    standing = text(p.standing, WIDTH - 5, True, SMALL) + 2.9 if front.standing else 0

    tier = LARGE + text(p.tier_label, VERDICT[0]) + text(p.tier_approved, VERDICT[0], True) + PICTURE
    tier += text(p.readings, VERDICT[0], True) + text(front.moves, VERDICT[0])
    hands = (
        LARGE + text(planned.words, VERDICT[1]) + (run("Because", front.because, VERDICT[1]) if front.because else 0)
    )
    trainee = LARGE + text(p.trainee_steps, VERDICT[2]) + text(p.target, VERDICT[2], True)
    verdict = 3.2 + max(tier, hands, trainee)
    verdict += run("Take-over", planned.take_over_words, WIDTH) if p.plan.trainee_steps else 0
    settle = FRAME + sum(
        run(what, f"→ {who}" if front.who_settles else "", FRAMED) for what, who in front.reasons.items
    )
    settle += text(front.reasons.rest, FRAMED)

    why = HEADING + sum(text(line, BESIDE) for line in front.decided.items)
    for listed, heights in (
        (front.factors, [run(factor.label, factor_words(factor), BESIDE) for factor in front.factors.items]),
        (front.queries, [text(query, BESIDE) for query in front.queries.items]),
        (front.levers, [text(lever_words(lever), BESIDE) for lever in front.levers.items]),
    ):
        if listed.items:
            why += SUBHEADING + sum(heights) + lines_mm(1, points) + text(listed.rest, BESIDE)
    why += run("Risk factors", front.factor_names, BESIDE) if front.factor_names else 0
    why += text(front.elsewhere, BESIDE)
    risk = HEADING + run(front.uncounted, f"{p.risk.outcome}.", BESIDE) + SCALE_HEAD + SCALE_ROW * len(p.risk.rows)
    risk += text(p.plan.range_note if p.risk.ranged else "", BESIDE, size=SMALL)
    drawn = DRAWING + 2 + run(p.drawing.seat, " ".join(front.captions.items), DRAWN, SMALL)

    again = HEADING + text(p.plan.recheck_then, WIDTH, True) + (1.6 if front.unrecorded else 0)
    again += sum(run(f"{one.look}:", one.words, WIDTH - NOW - CELL) + 1.25 for one in front.unrecorded)
    again += _boxes_mm(front.boxes, points)
    rows = WRITE + 1.2, max(WRITE, text(planned.contact or "", CONTACT)) + 1.2
    approval = HEADING + sum(rows) + max(WRITE, text(front.remarks, REMARKS)) + 0.2
    approval += text(front.deferral, WIDTH, size=SMALL) + 1
    return masthead + standing + verdict + settle + max(why + risk, drawn) + again + approval


def _boxes(p: PlanView, points: float) -> Boxes:
    """What is asked of every eye again, in even rows of boxes, as many in a row as takes the least height."""
    rows = range(ceil(len(p.recheck) / MOST_BOXES), ceil(len(p.recheck) / LEAST_BOXES) + 1)
    asked = tuple((ask, f"{STOP} {worse}") for ask, worse in p.recheck)
    layouts = [_in_rows(asked, number) for number in rows if number]
    return min(layouts, key=lambda boxes: _boxes_mm(boxes, points), default=())


def _in_rows(asked: tuple[tuple[str, str], ...], rows: int) -> Boxes:
    each = ceil(len(asked) / rows)
    return tuple(asked[start : start + each] for start in range(0, len(asked), each))


def _boxes_mm(boxes: Boxes, points: float) -> float:
    return sum(
        WRITE + 3.1 + max(runs_mm(((ask, True), (worse, False)), points, WIDTH / len(row) - CELL) for ask, worse in row)
        for row in boxes
    )
