"""A decision that came too late: what changed meanwhile, and what was written, so that nothing of it is lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from starlette.responses import Response

from planner.desk.approving import stage_asked
from planner.errors import PlannerError
from planner.records.changes import flat, names_changed
from planner.records.deciding import Act
from planner.records.rows import CaseNow, CaseVersion
from planner.web.approvals.case import DecisionForm
from planner.web.cases.fields import labels, shown_value
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import approval_path

WRITTEN = {
    "conditions": "Conditions",
    "operator_conditions": "Conditions on the operator",
    "reason": "Reason",
    "text": "Question",
    "why": "Reason to withdraw",
}

COVERED = {"table": "the table, whoever operates", "as-named": "as named alone"}


def case_changed(request: Request, now: CaseNow, form: DecisionForm) -> Response:
    """The page that refuses (409). `now` is the case as it stands."""
    site = site_of(request)
    then = _version_seen(site, now, form.version)
    return page(
        request, "approval_changed.html", 409,
        case=now.case, now=now, path=approval_path(now.case),
        newer=then is not None and then.number != now.version.number,
        changes=_changes(site, then, now.version) if then else [],
        tier_then=_tier(site, then) if then else "", tier_now=_tier(site, now.version),
        acts=_acts(site, now, form),
        written=[(label, getattr(form, name)) for name, label in WRITTEN.items() if getattr(form, name)]
        + _chosen(site, now, form),
    )  # fmt: skip


def _acts(site: Site, now: CaseNow, form: DecisionForm) -> tuple[Act, ...]:
    """Who decided what since the form's page was shown, and when."""
    try:
        return site.store.decided_since(now.case.id, form.seen)
    except PlannerError:
        # Ids that are of no page of this case say nothing of what was done since.
        return ()


def _chosen(site: Site, now: CaseNow, form: DecisionForm) -> list[tuple[str, str]]:
    """What was chosen in the form for changes: tier, supervision, and the steps in other hands than planned."""
    said = [("What it covers", COVERED[form.covers])] if form.covers else []
    if form.tier is None:
        return said
    plan = site.desk.plans.planned(now.version, stage_asked(site.desk, now)).plan
    modes = {str(name): words for name, words in site.rulebook.supervision.modes.items()}
    steps = plan.steps if plan else ()
    hands = [(step.label, form.who[step.id]) for step in steps if form.who.get(step.id, step.who) != step.who]
    return [*said, ("Tier", str(form.tier)), ("Supervision", modes.get(form.mode, form.mode)), *hands]


def _version_seen(site: Site, now: CaseNow, number: int | None) -> CaseVersion | None:
    try:
        return site.store.version(now.case.id, number) if number is not None else None
    except PlannerError:
        return None


def _changes(site: Site, then: CaseVersion, current: CaseVersion) -> list[tuple[str, str, str]]:
    """What differs: its label, as it was seen, as it is."""
    vocabulary, before, after = site.rulebook.vocabulary, flat(then.document), flat(current.document)
    names = labels(vocabulary)

    def shown(name: str, held: Mapping[str, Any]) -> str:
        return shown_value(vocabulary, name, held.get(name))

    return [
        (names.get(name, name), shown(name, before), shown(name, after))
        for name in names_changed(then.document, current.document)
    ]


def _tier(site: Site, version: CaseVersion) -> str:
    assessment = site.desk.plans.planned(version).assessment
    return str(assessment.tier.working) if assessment else "cannot be judged"
