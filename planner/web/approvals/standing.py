"""An approval on the pages: whether it stands today, and the plan with it in force."""

from __future__ import annotations

from planner.desk.plan_in_force import plan_as_given
from planner.errors import PlannerError
from planner.plan.plan import Plan
from planner.records.approval_validity import standing_on
from planner.records.database import StoreUnavailableError
from planner.records.repository import SERVER
from planner.records.rows import ApprovalStanding, CaseNow, State
from planner.web.server.case_state import state_in_words
from planner.web.server.site import Site


def standing_of(site: Site, now: CaseNow) -> ApprovalStanding | None:
    """How a case's approval stands today, None where it has none."""
    return standing_on(now, site.day_here(), site.rulebook)


def state_of(site: Site, now: CaseNow) -> str:
    """A case's state in words; an approval that no longer stands is not called one."""
    return state_in_words(now, standing_of(site, now))


def plan_as_approved(site: Site, now: CaseNow) -> Plan:
    """The plan with its approval in force, by name and time; without one that stands, as the rulebook has it."""
    return plan_as_given(site.desk, now)


def enter_lapses(site: Site) -> None:
    """Enter the approvals that no longer stand, so that both their people hear of it."""
    states: tuple[State, ...] = ("approved", "listed")
    for state in states:
        for now in site.store.cases(state=state):
            standing = standing_of(site, now)
            if standing is not None and standing.state == "lapsed" and now.approval is not None:
                try:
                    site.store.lapse(now.approval.id, "; ".join(standing.because), SERVER)
                except StoreUnavailableError:
                    # What nobody can write to can still be read, and says of each that it has lapsed.
                    return
                except PlannerError:
                    # Somebody else's page may have entered it meanwhile.
                    continue
