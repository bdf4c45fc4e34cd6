"""What differs between two plans, from what to what."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.documents.figures import percent_range, whole_range
from planner.plan.plan import Chosen, Plan


@dataclass(frozen=True)
class Change:
    """One thing that differs; both ends in words."""

    what: str
    before: str
    after: str


def changes(before: Plan, after: Plan) -> list[Change]:
    """Everything the reader acts on that differs: tier, points, probability, readiness, supervision, choices, steps."""
    pairs = zip(_stated(before), _stated(after), strict=True)
    return [Change(what, old, new) for (what, old), (_, new) in pairs if old != new]


def _stated(plan: Plan) -> Iterator[tuple[str, str]]:
    assessment, supervision = plan.assessment, plan.supervision
    tier, probability = assessment.tier, assessment.probability
    span = "" if tier.least == tier.most else f" ({tier.least} to {tier.most} possible)"
    yield "tier", f"{tier.working}{span}"
    yield "tier decided by", "; ".join(tier.decided_by)
    yield "points", whole_range(assessment.points)
    for operator in dict.fromkeys(("consultant", supervision.stage)):
        share = probability.by_operator.get(operator)
        words = percent_range(share.least, share.most) if share else "no published odds"
        yield f"probability, {operator}", f"at least {words}" if probability.not_counted and share else words
    for score in assessment.published_scores:
        yield f"score, {score.id}", whole_range(score.points)
    reasons = "; ".join(reason.because for reason in assessment.readiness.because)
    yield "readiness", assessment.readiness.state + (f": {reasons}" if reasons else "")
    yield "supervision", f"{supervision.mode}, {supervision.by}"
    yield "trainee's steps", ", ".join(supervision.trainee_steps) or "none"
    for choice in plan.choices.values():
        yield f"choice, {choice.choice}", _prepared(choice)
    yield "likely drills", ", ".join(drill.label for drill in plan.drills if drill.likely) or "none"


def _prepared(choice: Chosen) -> str:
    possible = [other.label for other in choice.rejected if other.possible]
    return choice.label + (f" (still possible: {', '.join(possible)})" if possible else "")
