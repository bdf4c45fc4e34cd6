"""A case at a glance: what weighs in it, with the values as they were measured, and what goes with each tier."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from planner.assess.assessment import FactorState
from planner.assess.trace import labels, reached_findings
from planner.case import Case
from planner.documents.json_form import plan_json
from planner.plan.plan import Plan
from planner.records.trail import canonical
from planner.rulebook.rulebook import Rulebook
from planner.wording.conditions import sentence
from planner.wording.language import count, say
from planner.wording.tier import short_readings


@dataclass(frozen=True)
class MeasuredValue:
    """A finding as recorded; `how` says where that comes from when nobody wrote it down for this finding."""

    label: str
    shown: str
    how: str


@dataclass(frozen=True)
class WeighedFactor:
    """A factor that holds, or may hold: what was measured, the limit, and what it counts."""

    label: str
    certain: bool
    values: tuple[MeasuredValue, ...]
    limit: str
    counts: str
    basis: str


@dataclass(frozen=True)
class Glance:
    """`seen` is a digest of the whole plan as it was shown; a decision that carries another one is not taken."""

    tier: str
    tier_label: str
    decided_by: tuple[str, ...]
    factors: tuple[WeighedFactor, ...]
    seen: str


def glance(plan: Plan, rulebook: Rulebook) -> Glance:
    assessment, tier = plan.assessment, plan.assessment.tier
    weighing = [state for state in assessment.factors if state.state in ("holds", "unknown")]
    weighing = [state for state in weighing if state.state == "holds" or state.most_points or state.floor]
    weighing.sort(key=lambda state: (state.state != "holds", -(state.floor or 0), -state.most_points))
    return Glance(
        short_readings(tier.on_record, tier.working),
        tier.label,
        tuple(reason.short for reason in tier.decided_by),
        tuple(_weighed(state, assessment.case, rulebook) for state in weighing),
        digest(plan),
    )


def digest(plan: Plan) -> str:
    """What a decision's form carries, to say of which plan it was made (SHA-256, in hex)."""
    return hashlib.sha256(canonical(plan_json(plan)).encode()).hexdigest()


def _weighed(state: FactorState, case: Case, rulebook: Rulebook) -> WeighedFactor:
    factor, vocabulary = rulebook.factors[state.id], rulebook.vocabulary
    values = []
    for name in reached_findings(factor.when, rulebook):
        finding, found = vocabulary.by_id[name], case.in_force.get(name)
        if found is None and state.state == "holds":
            continue
        how = say("looked for, none found") if name in case.from_section else ""
        if name in case.doubted:
            how = say("%(recorded)s is recorded, and in doubt", recorded=finding.shown(case.doubted[name]))
        values.append(MeasuredValue(finding.label, finding.shown(found), how))
    return WeighedFactor(
        state.label, state.state == "holds", tuple(values), sentence(factor.when, vocabulary, labels(rulebook)),
        _counts(state), state.basis.words,
    )  # fmt: skip


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
