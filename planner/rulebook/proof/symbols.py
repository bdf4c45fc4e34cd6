"""A symbolic case: a variable for every finding, and the formula of every condition; and the solver that is asked.

One more reader of the condition tree. A complete case records every finding that applies; one that does not apply
(`asked_when`) is left out or, as the engine allows, recorded all the same, and its tests do not hold unless recorded.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import z3

from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test
from planner.readings import quadrants
from planner.rulebook.proof.variables import Formula, Variable
from planner.rulebook.rulebook import Rulebook
from planner.vocabulary import Coarse, Finding

SECONDS_FOR_ONE_QUESTION = 30


class Symbols:
    """A symbolic case. Beside another it shares every finding but its `own`, and every formula none of them is in."""

    def __init__(
        self,
        rulebook: Rulebook,
        name: str,
        beside: Symbols | None = None,
        own: Iterable[str] = (),
        left_out: Iterable[str] = (),
    ) -> None:
        self.rulebook = rulebook
        self.beside = beside
        self.own = frozenset(own) if beside else frozenset(rulebook.vocabulary.by_id)
        self.left_out = frozenset(left_out)
        self.variables: dict[str, Variable] = {}
        self.recorded: dict[str, Formula] = {}
        self._named: dict[Condition, Formula] = {}
        for finding in rulebook.vocabulary.findings:
            if beside and finding.id not in self.own:
                self.variables[finding.id] = beside.variables[finding.id]
                self.recorded[finding.id] = beside.recorded[finding.id]
                continue
            self.variables[finding.id] = Variable(finding, f"{name}.{finding.id}")
            always = finding.asked_when is None and finding.id not in self.left_out
            self.recorded[finding.id] = z3.BoolVal(True) if always else z3.Bool(f"{name}.{finding.id}.recorded")

    def touches(self, condition: Condition) -> bool:
        """Whether the condition can differ from that of the case beside."""
        return self.beside is None or bool(self.rulebook.reach(condition) & self.own)

    def holds(self, condition: Condition) -> Formula:
        if self.beside is not None and not self.touches(condition):
            return self.beside.holds(condition)
        match condition:
            case Test():
                return self._test(condition)
            case FactorHolds() | OptionWins():
                if condition not in self._named:
                    self._named[condition] = self.holds(self.rulebook.behind(condition))
                return self._named[condition]
            case All(parts):
                return z3.And([self.holds(part) for part in parts])
            case Any_(parts):
                return z3.Or([self.holds(part) for part in parts])
            case NumberOf(parts, number):
                return z3.AtLeast(*[self.holds(part) for part in parts], number)
            case Not(part):
                return z3.Not(self.holds(part))

    def _test(self, test: Test) -> Formula:
        recorded = self.recorded[test.finding]
        if test.how == "recorded":
            return recorded if test.limit else z3.And(z3.Not(recorded), self.asked(test.finding))
        return z3.And(recorded, self.variables[test.finding].passes(test))

    def asked(self, finding: str) -> Formula:
        asked = self.rulebook.vocabulary.by_id[finding].asked_when
        return z3.BoolVal(True) if asked is None else self.holds(asked)

    def allowed(self) -> list[Formula]:
        """What makes it a complete case that is not refused (what it shares is left to the case beside)."""
        formulas: list[Formula] = []
        for name in sorted(self.own):
            formulas += self.variables[name].within()
            if name in self.left_out:
                formulas.append(z3.Not(self.recorded[name]))
            elif self.rulebook.vocabulary.by_id[name].asked_when is not None:
                formulas.append(z3.Implies(self.asked(name), self.recorded[name]))
        pairs = self.rulebook.vocabulary.impossible_together
        return formulas + [z3.Not(self.holds(pair.when)) for pair in pairs if self.touches(pair.when)]

    def as_filed(self) -> list[Formula]:
        """What a case file gives as a complete case: nothing recorded that does not apply, but the unremarkable value
        of a section looked through, nothing that a finer record reads otherwise, and no odd pair that puts a finding
        in doubt. The clock is a right eye's."""
        formulas: list[Formula] = []
        for finding in self.rulebook.vocabulary.findings:
            if finding.asked_when is not None and finding.id not in self.left_out:
                plain = self.asked(finding.id)
                if finding.unremarkable is not None:
                    unremarkable = finding.read(finding.unremarkable)
                    assert unremarkable is not None
                    plain = z3.Or(plain, self.variables[finding.id].equals(unremarkable))
                formulas.append(z3.Implies(self.recorded[finding.id], plain))
            if finding.coarse is not None and finding.id not in self.left_out:
                formulas.append(z3.Implies(self.recorded[finding.id], self._coarsely(finding, finding.coarse)))
        odd = [pair for pair in self.rulebook.vocabulary.odd_together if pair.doubt]
        return formulas + [z3.Not(self.holds(pair.when)) for pair in odd]

    def _coarsely(self, finding: Finding, coarse: Coarse) -> Formula:
        """That what a finer value reads as is recorded as such, or as worse."""
        fine, into = self.variables[finding.id].term, self.variables[coarse.into]
        read: list[Formula] = [self.recorded[coarse.into]]
        for grade, (low, high) in coarse.grades.items():
            as_bad = [into.equals(other) for other in into.order if into.rank[other] >= into.rank[grade]]
            read.append(z3.Implies(z3.And(fine >= low, fine <= high), z3.Or(as_bad)))
        widths = [n / 2 for n in range(25)] if coarse.width is not None else [0.0]
        for hour, width in itertools.product(range(1, 13) if coarse.clock else (), widths):
            runs = fine == hour
            if coarse.width is not None:
                wide = self.variables[coarse.width].term
                runs = z3.And(runs, wide <= width, *([wide > width - 0.5] if width else []))
            seen = [into.members[quadrant] for quadrant in quadrants(hour, width, "right")]
            read.append(z3.Implies(runs, z3.And(seen)))
        if coarse.clock:
            read.append(z3.Or([fine == hour for hour in range(1, 13)]))
        return z3.And(read)


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

    def settled(self, tries: Iterable[Iterable[Formula]]) -> z3.ModelRef:
        """A case for which, of each row of formulas, the first holds that can with what was kept of rows before."""
        pushed = 0
        for row in tries:
            for formula in row:
                self.solver.push()
                self.solver.add(formula)
                if self.solver.check() == z3.sat:
                    pushed += 1
                    break
                self.solver.pop()
        answer = self.solver.check()
        assert answer == z3.sat
        model = self.solver.model()
        self.solver.pop(pushed)
        return model

    def find(self, *formulas: Formula) -> z3.ModelRef | None:
        """An allowed case for which they all hold, None when there is none. Raises Undecided."""
        with self.given(formulas):
            answer = self.solver.check()
            if answer == z3.unknown:
                raise Undecided(self.solver.reason_unknown())
            return self.solver.model() if answer == z3.sat else None
