"""The pool: approved cases that stand and have no place yet, and what an organiser may narrow it by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, NamedTuple

from pydantic import BaseModel, Field

from planner.desk.plan_in_force import plan_as_given
from planner.documents.figures import day
from planner.plan.plan import Plan
from planner.records.approval_validity import holds_until, stands_on
from planner.records.rows import CaseNow
from planner.web.server.case_state import past_words, turn, urgency_words
from planner.web.server.site import Site

AGREED = ("consent_to_surgery", "trainee_involvement_agreed")
BOTH, MISSING, REFUSED = "both recorded", "not all recorded", "trainee refused"
Choice = Annotated[str, Field(max_length=60)]


class Narrowing(BaseModel):
    """The value that a case must have, by filter; an empty one narrows nothing."""

    tier: Choice = ""
    stage: Choice = ""
    anaesthesia: Choice = ""
    kit: Choice = ""
    urgency: Choice = ""
    consent: Choice = ""


class PoolCase(NamedTuple):
    """One case of the pool; `labels` are the values that it has of each filter, with their labels."""

    now: CaseNow
    plan: Plan
    urgency: str
    past: bool
    consent: str
    until: str
    labels: Mapping[str, Mapping[str, str]]


def pool(site: Site) -> list[PoolCase]:
    """Every case of it: past its date first, then the most urgent, then the longest wait."""
    cases = [now for now in site.store.cases(state="approved") if stands_on(now, site.day_here(), site.rulebook)]
    cases.sort(key=lambda now: (turn(site, now.version), now.case.reference))
    planned = (now for now in cases if site.desk.plans.planned(now.version).plan is not None)
    return [_case(site, now, plan_as_given(site.desk, now)) for now in planned]


def narrowed(cases: list[PoolCase], wanted: Narrowing) -> list[PoolCase]:
    """The cases that have every value wanted."""
    return [case for case in cases if all(value in case.labels[name] for name, value in wanted if value)]


def offered(cases: list[PoolCase]) -> dict[str, list[tuple[str, str]]]:
    """What each filter can be set to, as value and label: only what the pool holds."""
    shown: dict[str, dict[str, str]] = {name: {} for name in Narrowing.model_fields}
    for case in cases:
        for name, values in case.labels.items():
            shown[name] |= values
    return {name: sorted(values.items(), key=lambda one: one[1]) for name, values in shown.items()}


def _case(site: Site, now: CaseNow, plan: Plan) -> PoolCase:
    assert now.approval is not None
    findings, until = now.version.findings, holds_until(now, site.rulebook)
    recorded = [findings.get(name) for name in AGREED]
    consent = REFUSED if recorded[1] == "no" else BOTH if recorded == ["yes", "yes"] else MISSING
    tier, supervision = now.approval.tier_approved, plan.supervision
    anaesthesia, urgency = _shown(site, now, "anaesthesia_requested"), _shown(site, now, "urgency")
    return PoolCase(
        now, plan, urgency_words(site, now.version), bool(past_words(site, now.version)), consent,
        f"{day(until[0])} ({until[1]})" if until else "no dated measurement",
        {
            "tier": {str(tier): f"Tier {tier}"}, "stage": {supervision.stage: supervision.stage_label},
            "anaesthesia": {str(findings.get("anaesthesia_requested") or "not-recorded"): anaesthesia},
            "kit": {item.id: item.label for item in plan.kit if item.need == "essential"},
            "urgency": {urgency: urgency}, "consent": {consent: consent},
        },
    )  # fmt: skip


def _shown(site: Site, now: CaseNow, name: str) -> str:
    finding, value = site.rulebook.vocabulary.by_id.get(name), now.version.findings.get(name)
    return finding.shown(finding.read(value)) if finding and value is not None else "not recorded"
