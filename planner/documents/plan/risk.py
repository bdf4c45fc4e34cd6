"""The probability in whose hands, put into words and onto a logarithmic scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planner.assess.assessment import NotCounted, OperatorProbability, Probability
from planner.documents.figures import percent_range
from planner.wording.words import as_sentence, lower_first, percent

# What a print can tell apart, and the end no probability passes.
NARROWEST = 0.012
CERTAIN = 1.0
# How many of the things that the model does not count the first side names.
FIRST = 3


@dataclass(frozen=True)
class Tick:
    """A labelled place on the scale; `at` runs from 0 (left end) to 1 (right end)."""

    at: float
    label: str


@dataclass(frozen=True)
class OperatorRow:
    """One operator's range: in words, and where it starts and ends on the scale, 0 to 1."""

    operator: str
    words: str
    start: float
    end: float
    planned: bool
    open_ended: bool


class RiskView:
    """The model's estimate for this eye in words and on the scale; `stage` names the operator whose row is marked.
    `uncounted` is empty when the model counts all that holds or may hold; `ranged` says that a row is a range."""

    def __init__(self, probability: Probability, stage: str) -> None:
        operators, recentred = probability.by_operator.values(), probability.recentred
        lowest = min([o.least for o in operators] + [probability.baseline, 0.001])
        # Whole decades, so that the ticks are the same few numbers on every plan.
        floor = 10.0 ** math.floor(math.log10(max(lowest, 1e-6)) + 1e-9)

        def place(fraction: float) -> float:
            return round(min(1.0, math.log(max(fraction, floor) / floor) / math.log(CERTAIN / floor)), 4)

        def row(o: OperatorProbability) -> OperatorRow:
            start, end, words = place(o.least), place(o.most), percent_range(o.least, o.most)
            if probability.not_counted:
                words = f"at least {words}"
            end = max(end, start + NARROWEST)
            return OperatorRow(
                o.operator.capitalize(), words, start, end, o.operator == stage, bool(probability.not_counted)
            )

        self.model, self.population = probability.model.authors, probability.model.population
        self.outcome = as_sentence(probability.model.outcome)
        self.rows = tuple(map(row, operators))
        decades = range(round(-math.log10(floor)), -1, -1)
        self.ticks = tuple(Tick(place(10.0**-n), f"{100 * 10.0**-n:g} %") for n in decades)
        self.baseline, self.baseline_at = percent(probability.baseline), place(probability.baseline)
        self.ranged = any(o.least != o.most for o in operators)
        self.uncounted = _uncounted(probability.not_counted)
        self.uncounted_first = _uncounted(probability.not_counted, FIRST)
        self.uncounted_number = _uncounted(probability.not_counted, 0)
        self.recentred = self.recentred_on = ""
        if recentred:
            baseline = percent(recentred.baseline)
            self.recentred = f"Baseline {baseline}, {recentred.note}."
            self.recentred_on = recentred.on


def _uncounted(items: tuple[NotCounted, ...], most: int | None = None) -> str:
    """What the model does not count, what is found first; of more than `most` the rest is a number."""
    if not items:
        return ""
    items = tuple(sorted(items, key=lambda item: not item.certain))
    more = len(items) - most if most is not None and len(items) > most + 1 else 0
    items = items[: len(items) - more]
    certain = ", ".join(lower_first(item.label) for item in items if item.certain)
    possible = ", ".join(lower_first(item.label) for item in items if not item.certain)
    parts = [certain] if certain else []
    if possible and certain:
        parts.append(f"nor what is not recorded and may be found: {possible}")
    elif possible:
        parts.append(f"what is not recorded and may be found: {possible}")
    if more:
        parts.append(f"and {more} more, named in the preparation" if parts else f"{more} of this eye's risk factors")
    return f"At least these figures: this model does not count {'; '.join(parts)}."
