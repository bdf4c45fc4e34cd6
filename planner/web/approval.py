"""An approval on the pages: whether it stands today, and the plan with it in force."""

from __future__ import annotations

import datetime

from planner.errors import PlannerError
from planner.plan.approved import with_approval
from planner.plan.plan import Approval, Plan
from planner.records.rows import CaseNow, Standing
from planner.web.overview import STATES
from planner.web.site import Site

LAPSED = "Approval lapsed"


def today(site: Site) -> datetime.date:
    """The day on the server's own clock."""
    return site.settings.clock().astimezone().date()


def standing_of(site: Site, now: CaseNow) -> Standing | None:
    """How a case's approval stands today, None where it has none."""
    if now.approval is None:
        return None
    validity = site.rulebook.vocabulary.validity(now.version.findings)
    return site.store.standing(now.approval.id, today(site), validity, site.rulebook.sha256)


def state_of(site: Site, now: CaseNow) -> str:
    """A case's state in words; an approval that no longer stands is not called one."""
    standing = standing_of(site, now)
    return STATES[now.state] if standing is None or standing.state == "stands" else LAPSED


def plan_as_approved(site: Site, now: CaseNow, plan: Plan) -> Plan:
    """The plan with its approval in force, by name and time; without one that stands, as the rulebook has it."""
    given, standing = now.approval, standing_of(site, now)
    if given is None or standing is None or standing.state != "stands":
        return plan
    at = datetime.datetime.fromisoformat(given.at).astimezone().replace(tzinfo=None).isoformat(timespec="minutes")
    approval = Approval(
        _name(site, given.by), at, given.tier_by_rulebook, given.tier_approved, given.conditions, given.reason
    )
    who = {change.step: change.who for change in given.step_changes if change.who}
    return with_approval(plan, site.rulebook, approval, given.mode_approved or plan.supervision.mode, who)


def _name(site: Site, code: str) -> str:
    try:
        return f"{site.store.person(code).name} ({code})"
    except PlannerError:
        return code
