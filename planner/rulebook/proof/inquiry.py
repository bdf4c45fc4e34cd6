"""One claim being put to the solver: it counts the questions, keeps what was found against it, and the time."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence

import z3

from planner.errors import Fault
from planner.rulebook.proof.example import Values, ValuesToTry, as_file, plainest
from planner.rulebook.proof.report import Claim, CounterExample
from planner.rulebook.proof.symbols import Prover, Symbols, Undecided
from planner.rulebook.proof.totals import Totals
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook

COMPLETE = "allowed complete cases"
PARTLY = "allowed partly recorded cases"
TABLES = "the tables themselves"
EXAMPLES_AT_MOST = 5


class Bench:
    """What every claim about one rulebook is examined with."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.prover = Prover(rulebook)
        self.case = self.prover.case
        self.totals = Totals(rulebook)
        self.plain = ValuesToTry(rulebook)
        self.where = rulebook.at


class Inquiry:
    """Examines one claim; `claim()` says how it fared."""

    def __init__(self, bench: Bench, name: str, text: str, over: str = COMPLETE) -> None:
        self.bench = bench
        self.name, self.text, self.over = name, text, over
        self.begun = time.perf_counter()
        self.checks = 0
        self.against: list[CounterExample] = []
        self.undecided: list[str] = []
        self.notes: list[str] = []

    @property
    def has_enough(self) -> bool:
        return len(self.against) >= EXAMPLES_AT_MOST

    def find(self, what: str, *formulas: Formula) -> z3.ModelRef | None:
        """An allowed case with the formulas; a question that the solver gives up on is kept as `what`."""
        self.checks += 1
        try:
            return self.bench.prover.find(*formulas)
        except Undecided:
            self.undecided.append(what)
            return None

    def refute_by(self, what: str, says: str, *formulas: Formula) -> bool:
        """Keep the plainest case for which the formulas hold as a counter-example, if there is one."""
        if self.find(what, *formulas) is None:
            return False
        [values], _ = self.plainest([self.bench.case], *formulas)
        self.against.append(CounterExample(says, self.file(values)))
        return True

    def plainest(self, cases: Sequence[Symbols], *formulas: Formula) -> tuple[list[Values], z3.ModelRef]:
        return plainest(self.bench.prover, self.bench.plain, cases, formulas)

    def file(self, values: Values, then: Values | None = None) -> dict[str, object]:
        return as_file(self.bench.rulebook, self.bench.plain, values, then)

    def fail(self, says: str) -> None:
        """A fault that needs no case to show it."""
        self.checks += 1
        self.against.append(CounterExample(says))

    def judge(self, rows: int, faults: Iterable[Fault]) -> None:
        """So many rows of a table, which a check of the rulebook has looked at: what it found is against the claim."""
        self.checks += rows
        self.against.extend(CounterExample(str(fault)) for fault in faults)

    def claim(self) -> Claim:
        seconds = time.perf_counter() - self.begun
        if not self.checks:
            self.notes.append("this rulebook has nothing of the kind")
        outcome = tuple(self.against), tuple(self.undecided), tuple(self.notes)
        return Claim(self.name, self.text, self.over, self.checks, seconds, *outcome)
