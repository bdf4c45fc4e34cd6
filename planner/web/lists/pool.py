"""The pool: approved cases that stand and have no place yet, and what an organiser may narrow it by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from planner.documents.figures import day
from planner.plan.plan import Plan
from planner.records.rows import CaseNow
from planner.records.validity import holds_until, stands_on
from planner.web.approvals.standing import plan_as_approved
from planner.web.server.site import Site
from planner.web.server.urgency import past_words, turn, urgency_words
from planner.web.server.urls import case_path, list_path
from planner.wording.people import supervised_by

AGREED = ("consent_to_surgery", "trainee_involvement_agreed")
BOTH, MISSING, REFUSED = "both recorded", "not all recorded", "trainee refused"


@dataclass(frozen=True)
class Pooled:
    """One case of the pool; `values` are what the filters compare, `kit` what it cannot be started without."""

    reference: str
    eye: str
    patient: str
    path: str
    plan_path: str
    tier: int
    by_rulebook: int
    mode: str
    stage: str
    anaesthesia: str
    urgency: str
    past: bool
    consent: str
    until: str
    settle: int
    conditions: str
    kit: tuple[tuple[str, str], ...]
    values: Mapping[str, str]


def pool(site: Site) -> list[Pooled]:
    """Every case of it: past its date first, then the most urgent, then the longest wait."""
    cases = [now for now in site.store.cases(state="approved") if stands_on(now, site.day_here(), site.rulebook)]
    cases.sort(key=lambda now: (turn(site, now.version), now.case.reference))
    pooled = []
    for now in cases:
        plan = site.plans.planned(now.version).plan
        if plan is not None:
            pooled.append(_pooled(site, now, plan_as_approved(site, now)))
    return pooled


def narrowed(cases: Iterable[Pooled], wanted: Mapping[str, str]) -> list[Pooled]:
    """The cases that have every value wanted; an empty one narrows nothing."""

    def fits(case: Pooled) -> bool:
        for name, value in wanted.items():
            if name == "kit" and value and value not in {item for item, _ in case.kit}:
                return False
            if name != "kit" and value and case.values[name] != value:
                return False
        return True

    return [case for case in cases if fits(case)]


def offered(cases: list[Pooled]) -> dict[str, list[tuple[str, str]]]:
    """What each filter can be set to, as value and label: only what the pool holds."""
    shown = {
        "tier": {case.values["tier"]: f"Tier {case.tier}" for case in cases},
        "stage": {case.values["stage"]: case.stage for case in cases},
        "anaesthesia": {case.values["anaesthesia"]: case.anaesthesia for case in cases},
        "kit": {item: label for case in cases for item, label in case.kit},
        "urgency": {case.values["urgency"]: case.values["urgency"] for case in cases},
        "consent": {case.consent: case.consent for case in cases},
    }
    return {name: sorted(values.items(), key=lambda one: one[1]) for name, values in shown.items()}


def _pooled(site: Site, now: CaseNow, plan: Plan) -> Pooled:
    assert now.approval is not None
    findings, until = now.version.findings, holds_until(now, site.rulebook)
    recorded = [findings.get(name) for name in AGREED]
    consent = REFUSED if recorded[1] == "no" else BOTH if recorded == ["yes", "yes"] else MISSING
    tier = now.approval.tier_approved
    return Pooled(
        now.case.reference, now.case.eye, str(now.version.document.get("patient") or ""),
        list_path(now.case), case_path(now.case, "plan"), tier, now.approval.tier_by_rulebook,
        supervised_by(plan.supervision.mode, plan.supervision.by), plan.supervision.stage_label,
        _shown(site, now, "anaesthesia_requested"), urgency_words(site, now.version),
        bool(past_words(site, now.version)), consent,
        f"{day(until[0])} ({until[1]})" if until else "no dated measurement",
        len(plan.assessment.readiness.because), now.approval.every_condition,
        tuple((item.id, item.label) for item in plan.kit if item.need == "essential"),
        {
            "tier": str(tier), "stage": plan.supervision.stage, "consent": consent,
            "anaesthesia": str(findings.get("anaesthesia_requested") or "not-recorded"),
            "urgency": _shown(site, now, "urgency"),
        },
    )  # fmt: skip


def _shown(site: Site, now: CaseNow, name: str) -> str:
    finding, value = site.rulebook.vocabulary.by_id.get(name), now.version.findings.get(name)
    return finding.shown(finding.read(value)) if finding and value is not None else "not recorded"
