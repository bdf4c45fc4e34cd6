"""What the preparation says of single items; its template calls these as filters."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil
from typing import Literal, TypeVar

from planner.assess.assessment import NotCounted
from planner.claims import Basis
from planner.plan.plan import PlannedChoice, PlannedDrug, PlannedStep
from planner.wording.conditions import gate_words
from planner.wording.reasons import SettleReason, TierReason
from planner.wording.words import as_sentence, lower_first, with_stop

# Characters that a line holds: of half the sheet's width, of what to do in a step, of its pauses. How many lines of a
# long list stand together on one page.
HALF, DO, PAUSE = 56, 62, 54
TOGETHER = 18
SMALLER = 0.85  # a letter of small print, beside one of the text

T = TypeVar("T")


def halves(
    items: Iterable[T], *named: str, size: float = 1.0, together: int = TOGETHER
) -> list[tuple[list[T], list[T]]]:
    """A list as two columns of about one height, read down the left one first; a long list as several such pairs.

    `named` are the attributes whose text is printed of an item, its basis after them; without any, items are texts.
    `size` is that of the type, beside the text's; `together` how many lines a pair of columns may be high.
    """
    whole = list(items)
    heights = [ceil(_length(item, named) * size / HALF) for item in whole]
    parts = max(1, round(sum(heights) / (2 * together)))
    columns: list[list[T]] = [[] for _ in range(2 * parts)]
    share, used = sum(heights) / len(columns), 0
    for item, height in zip(whole, heights, strict=True):
        # The first of all stands on the left, however long it is.
        columns[min(int((used + height / 2) / share), len(columns) - 1) if used else 0].append(item)
        used += height
    return list(zip(columns[::2], columns[1::2], strict=True))


def _length(item: object, named: Iterable[str]) -> float:
    """About how many letters of the text an item takes the room of."""
    basis = getattr(item, "basis", None)
    texts = [item] if isinstance(item, str) else [getattr(item, name) or "" for name in named]
    return sum(map(len, texts)) + (_small(basis) if basis else 0)


def _small(basis: Basis) -> float:
    """How many letters of the text a basis takes the room of."""
    return SMALLER * len(basis.place if basis.source else basis.words)


def decided(reasons: Iterable[TierReason]) -> list[str]:
    """What demands a tier, a line each; factors that demand the same tier stand in one line."""
    lines: dict[str, list[str]] = {}
    for reason in reasons:
        if reason.by == "floor":
            heading = f"{'Demands' if reason.certain else 'If found, demands'} tier {reason.tier}"
            lines.setdefault(heading, []).append(lower_first(reason.label))
        else:
            lines[as_sentence(reason.words)] = []
    return [f"{heading}: {', '.join(labels)}" if labels else heading for heading, labels in lines.items()]


def by_who_settles(reasons: Iterable[SettleReason]) -> list[tuple[str, str]]:
    """What to settle, together where the same person settles it, and who that is."""
    alike: dict[str, list[SettleReason]] = {}
    for reason in reasons:
        alike.setdefault(reason.settled_by, []).append(reason)
    return [(as_sentence("; ".join(_once_headed(group))), who) for who, group in alike.items()]


def _once_headed(reasons: Iterable[SettleReason]) -> Iterator[str]:
    """Why each; `not recorded` before the first of several alone."""
    before = ""
    for reason in reasons:
        yield reason.because.removeprefix(f"{before}: ") if before else reason.because
        before = reason.heading


def gates(step: PlannedStep) -> list[tuple[str, str]]:
    """Each act before which something is looked for, and all that would then be done otherwise."""
    by_act: dict[str, list[str]] = {}
    for gate in step.gates:
        heading = "Once known" if gate.once_clear else gate.before or "If found"
        then = gate.label if gate.option is not None else " ".join(gate.do)
        by_act.setdefault(heading, []).append(gate_words(gate.named, then, together=gate.together))
    return [(heading, f"{'; '.join(lines)}.") for heading, lines in by_act.items()]


def to_do(step: PlannedStep, chosen: Iterable[PlannedChoice]) -> list[str]:
    """The lines of a step, without those that say how a choice still open is prepared."""
    prepared = {choice.prepared_as for choice in chosen}
    return [line for line in step.do if line not in prepared]


def other_bars(drug: PlannedDrug) -> list[str]:
    """What a drug must not be given with, other than what it is withheld or waits for."""
    return [bar for bar in drug.contraindications if bar not in drug.reasons]


def room_for_why(step: PlannedStep, chosen: Iterable[PlannedChoice]) -> Literal["do", "pause", "below"]:
    """Where what to ask and why stand: beneath the shorter of what to do and the pauses if there is room, else below
    both, across the sheet."""
    do = sum(_rows(line, DO) for line in step.do)
    pauses = sum(_rows(f"{pause.if_}: {pause.then}", PAUSE) for pause in step.pause_if)
    handed = step.hand_over_if if step.who == "trainee" else ()
    pauses += sum(_rows(" ".join(lines), PAUSE) for lines in (step.watch, handed))
    why = sum(map(len, step.think)) + len(step.done_well)
    why += sum(len(choice.way.why) + len(choice.label) + round(_small(choice.way.basis)) for choice in chosen)
    if pauses + ceil(why / PAUSE) <= do:
        return "pause"
    return "do" if do + ceil(why / DO) <= pauses else "below"


def _rows(text: str, width: int) -> int:
    return ceil(len(text) / width)


def may_be_found(items: Iterable[NotCounted]) -> str:
    """What the model does not count and nobody has looked for, by name."""
    return ", ".join(lower_first(item.label) for item in items if not item.certain)


FILTERS = (
    lower_first,
    with_stop,
    halves,
    decided,
    by_who_settles,
    gates,
    to_do,
    other_bars,
    room_for_why,
    may_be_found,
)
