"""A decision that came too late: what changed meanwhile, and what was written, so that nothing of it is lost."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from starlette.datastructures import FormData
from starlette.responses import Response

from planner.errors import PlannerError
from planner.records.changes import flat, names_changed
from planner.records.rows import CaseNow, CaseVersion
from planner.web.fields import labels
from planner.web.overview import day_and_time
from planner.web.places import approval_path
from planner.web.presenting import page
from planner.web.site import Site, site_of

WRITTEN = {
    "conditions": "Conditions",
    "operator_conditions": "Conditions on the operator",
    "reason": "Reason",
    "text": "Question",
    "why": "Reason to withdraw",
}


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
        written=[(label, str(form.get(name))) for name, label in WRITTEN.items() if form.get(name)],
    )  # fmt: skip


def _version_seen(site: Site, now: CaseNow, number: str) -> CaseVersion | None:
    if not number.isascii() or not number.isdigit() or len(number) > 9:
        return None
    try:
        return site.store.version(now.case.id, int(number))
    except PlannerError:
        return None


def _changes(site: Site, then: CaseVersion, current: CaseVersion) -> list[tuple[str, str, str]]:
    """What differs: its label, as it was seen, as it is."""
    names, before, after = labels(site.rulebook.vocabulary), flat(then.document), flat(current.document)
    return [
        (names.get(name, name), _shown(site, name, before.get(name)), _shown(site, name, after.get(name)))
        for name in names_changed(then.document, current.document)
    ]


def _shown(site: Site, name: str, value: Any) -> str:
    finding = site.rulebook.vocabulary.by_id.get(name)
    if finding is not None:
        return finding.shown(finding.read(value) if value is not None else None)
    if isinstance(value, list | tuple):
        sections = {section.id: section.label for section in site.rulebook.vocabulary.sections}
        return "; ".join(sections.get(item, str(item)) for item in value)
    return str(value) if value is not None else "not recorded"


def _tier(site: Site, version: CaseVersion) -> str:
    assessment = site.judge.judge(version).assessment
    return str(assessment.tier.working) if assessment else "cannot be judged"
