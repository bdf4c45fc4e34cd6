"""Whether the engine agrees with what the rulebook's cases expect of its factors and options."""

from __future__ import annotations

from collections.abc import Iterable

from planner.assess.assess import Assessor, assessor
from planner.assess.compiled import EyeTruths
from planner.errors import Fault
from planner.plan.choices import possible_winners
from planner.plan.picture import Picture
from planner.rulebook.rule_cases import OF_FACTOR, Expected
from planner.rulebook.rulebook import Rulebook

_SAID = {True: "holds", False: "does_not_hold", None: "unknown"}
_HINT = "correct the rule, or the case if the rule is right"


def disagreements(rulebook: Rulebook, cases: Iterable[Expected]) -> list[Fault]:
    """A fault for each case that does not come to what it expects: factors as assessed, options as planned."""
    ready = assessor(rulebook)
    judged = (_factor(ready, case) if case.how in OF_FACTOR else _option(ready, case) for case in cases)
    return [fault for fault in judged if fault is not None]


def _factor(ready: Assessor, expected: Expected) -> Fault | None:
    values = expected.case.values(ready.rulebook.vocabulary)
    eye = EyeTruths(ready.compiled, values)
    outcome = _SAID[eye.truth(f"factor:{expected.name}")]
    if outcome == expected.how:
        return None
    states = ready.tracer.factors(expected.case, values, eye.core)
    because = next(state.because for state in states if state.id == expected.name)
    return Fault(expected.where, f"{expected.name}: expected {expected.how}, found {outcome}", because, _HINT)


def _option(ready: Assessor, expected: Expected) -> Fault | None:
    choice, option = ready.rulebook.option(expected.name)
    winners = [winner.id for winner in possible_winners(Picture(ready, expected.case), choice)]
    outcome = "does_not_win" if option.id not in winners else "wins" if len(winners) == 1 else "may_win"
    if outcome == expected.how:
        return None
    verb = "wins" if len(winners) == 1 else "may win"
    what = f"{expected.name}: expected {expected.how}, found {outcome}"
    return Fault(expected.where, what, f"{', '.join(winners) or 'nothing'} {verb}", _HINT)
