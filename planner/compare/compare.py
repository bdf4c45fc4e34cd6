"""`Comparison(old, new)`: what changes for a case between two rulebooks, and because of which entry."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from planner.assess.assess import assessor
from planner.assess.assessment import Range
from planner.case import Case
from planner.compare.because import Because, Felt
from planner.compare.outcome import What, Words, changed
from planner.compare.rulebook_differences import Difference, differences
from planner.errors import PlannerError
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook

Kind = Literal["major", "minor", "patch", "none"]


@dataclass(frozen=True)
class CaseChange:
    """One result of a case that changes, and the entries it rests on that differ; no `name` when it is of the eye."""

    what: What
    name: str
    before: Words
    after: Words
    because: tuple[Felt, ...]

    @property
    def result(self) -> str:
        """What changes, in words: `tier`, `choice ovd`, `who does nucleus`."""
        return {"who": f"who does {self.name}", "do": f"what to do at {self.name}"}.get(
            self.what, f"{self.what} {self.name}".strip()
        )

    @property
    def may_be_wording(self) -> bool:
        """Whether all that moved is the text of what is to be done, which may mean the same as before."""
        return self.what == "do" and all(felt.difference.is_wording for felt in self.because)


class Comparison:
    """Two rulebooks made ready to be compared on many cases."""

    def __init__(self, old: Rulebook, new: Rulebook) -> None:
        self.old, self.new = old, new
        self.differences: list[Difference] = differences(old, new)
        self.because = Because(self.differences, assessor(old).compiled, assessor(new).compiled)

    def changes(self, before: Case, after: Case | None = None) -> tuple[CaseChange, ...]:
        """What changes for a case; `after` is the same case as the new vocabulary reads it, where that differs."""
        after = after or before
        felt = self.because.felt(before.values(self.old.vocabulary), after.values(self.new.vocabulary))
        if not felt or (all(each.difference.only_adds_up for each in felt) and self._same_sums(before, after)):
            return ()
        one, other = _planned(before, self.old), _planned(after, self.new)
        if isinstance(one, str) or isinstance(other, str):
            was, is_now = (answer if isinstance(answer, str) else "yes" for answer in (one, other))
            return () if was == is_now else (CaseChange("allowed", "", was, is_now, tuple(felt)),)
        moved = list(changed(one, other))
        results = {(what, name) for what, name, _, _ in moved}
        return tuple(
            CaseChange(what, name, was, is_now, tuple(self.because.reasons((what, name), felt, results)))
            for what, name, was, is_now in moved
        )

    def _same_sums(self, before: Case, after: Case) -> bool:
        return _sums(before, self.old) == _sums(after, self.new)

    def kind(self, changes: Iterable[CaseChange]) -> Kind:
        """The least step of version that fits the differences, and these changes of the cases compared."""
        moved = [each for each in self.differences if each.decides and each.state != "new" and not each.is_wording]
        if moved or any(not change.may_be_wording for change in changes):
            return "major"
        if any(each.decides and each.state == "new" for each in self.differences):
            return "minor"
        return "patch" if self.differences else "none"


def _sums(case: Case, rulebook: Rulebook) -> tuple[Range, Range] | None:
    """The ranges of points and of tier, and both on record; None for an eye that the rulebook does not allow."""
    ready, values = assessor(rulebook), case.values(rulebook.vocabulary)
    try:
        plain = ready.on_record(case, values)
        points, tier = ready.objectives.totals["points"], ready.objectives.tier
        return ready.range(values, points, plain), ready.range(values, tier, plain)
    except PlannerError:
        return None


def _planned(case: Case, rulebook: Rulebook) -> Plan | str:
    """The plan of a case, or why the rulebook allows no such eye."""
    try:
        return make_plan(assessor(rulebook).assess(case, None, None), rulebook)
    except PlannerError as error:
        return f"no: {error}"
