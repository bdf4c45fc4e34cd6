"""Random allowed cases, complete and partly recorded, on values that rulebooks can tell apart."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from typing import Any

from planner.assess.compiled import Compiled, Values
from planner.assess.compiled import told_apart as told_apart_by
from planner.case import STAGES, Case, coarser
from planner.vocabulary import Finding

EYES = ("right", "left")
Cells = Sequence[tuple[Any, ...]]
# Shares, one of each drawn for a case. Findings left plain: from eyes with many troubles to eyes with few.
PLAIN = (0.7, 0.9, 0.97)
# Findings not recorded, in every other case.
MISSING = (0.05, 0.15, 0.3, 0.6)


class Sampler:
    """Draws cases that are allowed under one compiled rulebook.

    `cells` gives the values of each finding to draw from, in vocabulary order; without it those of the rulebook itself.
    """

    def __init__(self, compiled: Compiled, cells: Cells | None = None) -> None:
        self.compiled = compiled
        self.cells: Cells = cells or compiled.cells
        self.plain = [self._plain(place) if values else None for place, values in enumerate(self.cells)]
        self.finer = [place for place, finding in enumerate(self._findings) if finding.coarse is not None]
        self.pairs = [compiled.place[name] for name in compiled.core_names if name.startswith("impossible:")]
        self.needed = frozenset(compiled.index[name] for name in compiled.rulebook.vocabulary.on_record_needs)
        # What decides whether a finding applies is drawn before it.
        self.order = compiled.by_depth

    def complete(self, draw: random.Random, plain: float) -> Values:
        """The values of a complete allowed case: every finding that applies has one, no impossible pair holds.

        A finer finding is left out where it does not say, in either eye, what the coarser one does. `plain` is the
        share of findings that take their plain value: near 1 few cases reach tier 4.
        """
        while True:
            values: Values = [None] * len(self.cells)
            for place in self.order:
                if self.cells[place] and self.compiled.applies(place, values):
                    values[place] = self.plain[place] if draw.random() < plain else draw.choice(self.cells[place])
            for place in self.finer:
                coarse = values[self._coarse(place)]
                if any(self._said(values, place, eye) != coarse for eye in EYES):
                    values[place] = None
            truths, _ = self.compiled.core(values)
            if not any(truths[place] for place in self.pairs):
                return values

    def cases(self, number: int, seed: int) -> Iterator[Case]:
        """So many cases, complete and partly recorded in turn; the same seed gives the same cases."""
        draw = random.Random(seed)
        for count in range(1, number + 1):
            values = self.complete(draw, draw.choice(PLAIN))
            if count % 2 == 0:
                missing = draw.choice(MISSING)
                # Every other of these has what a reading on record needs, so that both kinds are seen.
                kept = self.needed if count % 4 == 0 else frozenset[int]()
                values = [v if p in kept or draw.random() >= missing else None for p, v in enumerate(values)]
            eye = draw.choice(EYES)
            # As a case is read: a finer finding that is recorded says the coarser one.
            for place in self.finer:
                said = self._said(values, place, eye)
                values[self._coarse(place)] = values[self._coarse(place)] if said is None else said
            yield as_case(self.compiled, values, f"G-{count}", eye, draw.choice(STAGES))

    @property
    def _findings(self) -> Sequence[Finding]:
        return self.compiled.rulebook.vocabulary.findings

    def _coarse(self, place: int) -> int:
        """The place of the finding that says the same as this one more coarsely."""
        into = self._findings[place].coarse
        assert into is not None
        return self.compiled.index[into.into]

    def _said(self, values: Values, place: int, eye: str) -> Any:
        """What a finer finding says of the coarser one, None where it is not recorded or says nothing."""
        finding, value = self._findings[place], values[place]
        if finding.coarse is None or value is None:
            return None
        recorded = {each.id: known for each, known in zip(self._findings, values, strict=True)}
        return coarser(finding.coarse, value, recorded, eye)

    def _plain(self, place: int) -> Any:
        """The plain value of a finding; without one, that with which alone the fewest conditions hold."""
        given = self._findings[place].plain_value
        if given is not None:
            return given

        def holding(cell: Any) -> int:
            values: Values = [None] * len(self.cells)
            values[place] = cell
            return sum(truth is True for truth in self.compiled.core(values)[0])

        return min(self.cells[place], key=holding)


def told_apart(*rulebooks: Compiled) -> list[tuple[Any, ...]]:
    """For each finding of the first rulebook one value for every way that any of them can tell its values apart."""
    conditions = [each for made in rulebooks for each in (*made.conditions.values(), *made.asked.values())]
    return told_apart_by(rulebooks[0].rulebook.vocabulary.findings, conditions)


def as_case(compiled: Compiled, values: Values, reference: str, eye: str, stage: str | None = None) -> Case:
    """Values in vocabulary order as a case."""
    findings = compiled.rulebook.vocabulary.findings
    recorded = {f.id: value for f, value in zip(findings, values, strict=True) if value is not None}
    return Case(reference, eye, recorded, planned_stage=stage)
