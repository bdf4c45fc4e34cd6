"""What weighs in a case, with the values as they were measured, and the digest of the plan that is decided on."""

from __future__ import annotations

import hashlib

from planner.assess.assessment import FactorState
from planner.assess.trace import labels, reached_findings
from planner.case import Case
from planner.documents.json_form import plan_json
from planner.plan.plan import Plan
from planner.records.trail import canonical
from planner.rulebook.rulebook import Rulebook
from planner.wording.conditions import sentence
from planner.wording.language import count, say


def weighing(plan: Plan, rulebook: Rulebook) -> list[dict[str, object]]:
    """The factors that hold, or may hold, and weigh: what is certain and heaviest first."""
    states = [state for state in plan.assessment.factors if state.state in ("holds", "unknown")]
    states = [state for state in states if state.state == "holds" or state.most_points or state.floor]
    states.sort(key=lambda state: (state.state != "holds", -(state.floor or 0), -state.most_points))
    return [_weighed(state, plan.assessment.case, rulebook) for state in states]


def digest(plan: Plan) -> str:
    """What a decision's form carries, to say of which plan it was made (SHA-256, in hex)."""
    return hashlib.sha256(canonical(plan_json(plan)).encode()).hexdigest()


def _weighed(state: FactorState, case: Case, rulebook: Rulebook) -> dict[str, object]:
    """A factor that holds, or may: what was measured (`how` says whence), the limit, and what it counts."""
    factor, vocabulary = rulebook.factors[state.id], rulebook.vocabulary
    values = []
    for name in reached_findings(factor.when, rulebook):
        finding, found = vocabulary.by_id[name], case.in_force.get(name)
        if found is None and state.state == "holds":
            continue
        how = say("looked for, none found") if name in case.from_section else ""
        if name in case.doubted:
            how = say("%(recorded)s is recorded, and in doubt", recorded=finding.shown(case.doubted[name]))
        values.append({"label": finding.label, "shown": finding.shown(found), "how": how})
    limit = sentence(factor.when, vocabulary, labels(rulebook))
    return {"state": state, "measured": values, "limit": limit, "counts": _counts(state)}


def _counts(state: FactorState) -> str:
    counts = []
    if state.state == "holds" and state.most_points and not state.points:
        counts.append(say("points counted once, with a heavier one"))
    elif state.most_points and state.state == "holds":
        counts.append(count("%(num)s point", "%(num)s points", state.most_points))
    elif state.most_points:
        counts.append(count("up to %(num)s point", "up to %(num)s points", state.most_points))
    if state.floor:
        counts.append(say("tier %(tier)s at least", tier=state.floor))
    return ", ".join(counts) or say("no points")
