"""A decision that came too late: what changed meanwhile, and what was written, so that nothing of it is lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import Request
from starlette.datastructures import FormData
from starlette.responses import Response

from planner.desk.approving import stage_asked
from planner.errors import PlannerError
from planner.records.changes import flat, names_changed
from planner.records.rows import CaseNow, CaseVersion
from planner.web.cases.fields import labels, shown_value
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.seen import seen_in
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


def case_changed(request: Request, now: CaseNow, form: FormData) -> Response:
    """The page that refuses (409). `now` is the case as it stands."""
    site = site_of(request)
    then = _version_seen(site, now, str(form.get("version", "")))
    return page(
        request, "approval_changed.html", 409,
        case=now.case, now=now, path=approval_path(now.case), saved_at=day_and_time(now.version.at),
        newer=then is not None and then.number != now.version.number,
        changes=_changes(site, then, now.version) if then else [],
        tier_then=_tier(site, then) if then else "", tier_now=_tier(site, now.version),
        acts=_acts(site, now, form),
        written=[(label, str(form.get(name))) for name, label in WRITTEN.items() if form.get(name)]
        + _chosen(site, now, form),
    )  # fmt: skip


def _acts(site: Site, now: CaseNow, form: FormData) -> list[tuple[str, str]]:
    """Who decided what since the form's page was shown, and when."""
    try:
        acts = site.store.decided_since(now.case.id, seen_in(form))
    except PlannerError:
        # Ids that are of no page of this case say nothing of what was done since.
        return []
    return [(act.words, day_and_time(act.at)) for act in acts]


def _chosen(site: Site, now: CaseNow, form: FormData) -> list[tuple[str, str]]:
    """What was chosen in the form for changes: tier, supervision, and the steps in other hands than planned."""
    covers = COVERED.get(str(form.get("covers", "")))
    said = [("What it covers", covers)] if covers else []
    if not form.get("tier"):
        return said
    plan = site.plans.planned(now.version, stage_asked(site.desk, now)).plan
    modes = {str(name): words for name, words in site.rulebook.supervision.modes.items()}
    mode = str(form.get("mode", ""))
    steps = [
        (step.label, str(form.get(f"who.{step.id}")))
        for step in (plan.steps if plan else ())
        if form.get(f"who.{step.id}") not in (None, step.who)
    ]
    return [*said, ("Tier", str(form.get("tier"))), ("Supervision", modes.get(mode, mode)), *steps]


def _version_seen(site: Site, now: CaseNow, number: str) -> CaseVersion | None:
    if not number.isascii() or not number.isdigit() or len(number) > 9:
        return None
    try:
        return site.store.version(now.case.id, int(number))
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
    assessment = site.plans.planned(version).assessment
    return str(assessment.tier.working) if assessment else "cannot be judged"
