"""Questions to the solver: is there an allowed case for which these formulas hold?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import z3

from planner.rulebook.proof.symbols import Symbols
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook

SECONDS_FOR_ONE_QUESTION = 30


class Undecided(Exception):
    """The solver gave up on one question."""


class Prover:
    """A solver over the allowed complete cases of a rulebook. `case` is the one asked about."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.case = Symbols(rulebook, "case")
        self.solver = z3.Solver()
        self.solver.set("timeout", SECONDS_FOR_ONE_QUESTION * 1000)
        self.solver.add(self.case.allowed())

    @contextmanager
    def given(self, formulas: Iterable[Formula]) -> Iterator[None]:
        """Within it the formulas hold as well."""
        self.solver.push()
        try:
            self.solver.add(list(formulas))
            yield
        finally:
            self.solver.pop()

    def find(self, *formulas: Formula) -> z3.ModelRef | None:
        """An allowed case for which they all hold, None when there is none. Raises Undecided."""
        with self.given(formulas):
            answer = self.solver.check()
            if answer == z3.unknown:
                raise Undecided(self.solver.reason_unknown())
            return self.solver.model() if answer == z3.sat else None
