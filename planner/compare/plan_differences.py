"""What differs between two plans, from what to what."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.documents.figures import percent_range, whole_range
from planner.plan.plan import Plan, PlannedChoice
from planner.wording.conditions import gate_words
from planner.wording.tier import tier_possible
from planner.wording.words import lower_first, percent


@dataclass(frozen=True)
class PlanDifference:
    """One thing that differs, both ends in words; of a list, `gone` and `new` are the entries of one end alone."""

    what: str
    before: str
    after: str
    gone: tuple[str, ...] = ()
    new: tuple[str, ...] = ()


def changes(before: Plan, after: Plan) -> list[PlanDifference]:
    """Everything the reader acts on that differs: both readings, points, readiness, supervision, choices, steps."""
    pairs = zip(_stated(before), _stated(after), strict=True)
    return [_change(what, old, new) for (what, old), (_, new) in pairs if old != new]


def _change(what: str, old: str | tuple[str, ...], new: str | tuple[str, ...]) -> PlanDifference:
    if isinstance(old, str) or isinstance(new, str):
        return PlanDifference(what, str(old), str(new))
    gone, added = (tuple(item for item in some if item not in others) for some, others in ((old, new), (new, old)))
    return PlanDifference(what, "; ".join(old) or "none", "; ".join(new) or "none", gone, added)


def _stated(plan: Plan) -> Iterator[tuple[str, str | tuple[str, ...]]]:
    assessment, supervision = plan.assessment, plan.supervision
    tier, probability = assessment.tier, assessment.probability
    yield "tier on record", "too little recorded" if tier.on_record is None else f"{tier.on_record}"
    yield "tier on record, decided by", tuple(reason.words for reason in tier.on_record_by)
    yield "tier until known", f"{tier.working}{tier_possible(tier.least, tier.most)}"
    yield "tier until known, decided by", tuple(reason.words for reason in tier.decided_by)
    yield "points", whole_range(assessment.points)
    for operator in dict.fromkeys(("consultant", supervision.stage)):
        share = probability.by_operator.get(operator)
        words = percent_range(share.least, share.most) if share else "no published odds"
        if share and share.on_record is not None and share.least != share.most:
            words = f"{percent(share.on_record)} on record, {percent(share.most)} until known"
        yield f"probability, {operator}", f"at least {words}" if probability.not_counted and share else words
    for score in assessment.published_scores:
        yield f"score, {score.id}", whole_range(score.points)
    yield "readiness", assessment.readiness.state
    yield "to settle first", tuple(reason.because for reason in assessment.readiness.because)
    yield "where to look first", tuple(f"{look.label}, {look.minutes} min" for look in assessment.looks)
    yield "supervision", f"{supervision.mode}, {supervision.by}"
    yield "trainee's steps", supervision.trainee_steps
    for choice in plan.choices.values():
        yield f"choice, {choice.choice}", choice.label
        yield f"would change {choice.choice}", tuple(_would_change(choice))
    yield "likely drills", tuple(drill.label for drill in plan.drills if drill.likely)


def _would_change(choice: PlannedChoice) -> Iterator[str]:
    """Each other option that is still possible, with what would have to be found for it where that can be said."""
    gates = {gate.option: gate for gate in choice.if_found}
    for other in choice.rejected:
        if other.possible and other.option in gates:
            gate = gates[other.option]
            yield gate_words(gate.asks, gate.label, together=gate.together)
        elif other.possible:
            yield lower_first(other.label)
