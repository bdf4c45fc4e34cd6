"""What waits for a consultant, what was sent back, and what is approved, each in the order of its urgency."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from planner.desk.approving import enter_lapses, stage_asked
from planner.desk.lists import lists_now
from planner.records.approval_validity import standing_on
from planner.records.rows import CaseNow
from planner.web.lists.shown import needed_at_once
from planner.web.security.authorisation import Deciding, Visitor
from planner.web.server.case_state import turn, urgency_words
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.wording.tier import short_readings

router = APIRouter()
LATEST_PLACE = 99


@router.get("/approvals")
def approvals(request: Request, visitor: Deciding) -> Response:
    site = site_of(request)
    enter_lapses(site.desk)

    def rows(cases: tuple[CaseNow, ...]) -> list[dict[str, object]]:
        return [_row(site, now, visitor) for now in sorted(cases, key=lambda now: _order(site, now))]

    store = site.store
    return page(
        request, "approvals.html", waiting=rows(store.waiting()), sent_back=rows(store.cases(state="sent-back")),
        approved=rows(store.cases(state="approved")) + rows(store.cases(state="listed")),
        at_once=needed_at_once(lists, visitor.code) if (lists := lists_now(site.desk)) else [],
    )  # fmt: skip


def _order(site: Site, now: CaseNow) -> tuple[tuple[object, ...], int, str]:
    assessment = site.desk.plans.planned(now.version).assessment
    tier = assessment.tier.working if assessment else LATEST_PLACE
    return turn(site, now.version), -tier, now.case.reference


def _row(site: Site, now: CaseNow, visitor: Visitor) -> dict[str, object]:
    """One case of a table, planned as it is asked for; `asked` is what this consultant asked last."""
    plan = site.desk.plans.planned(now.version, stage_asked(site.desk, now)).plan
    asked = [question for question in site.store.questions(now.case.id) if question.by == visitor.code]
    tier = short_readings(plan.assessment.tier.on_record, plan.assessment.tier.working) if plan else "cannot be judged"
    return {
        "now": now, "plan": plan, "tier": tier, "urgency": urgency_words(site, now.version),
        "standing": standing_on(now, site.day_here(), site.rulebook), "asked": asked[-1] if asked else None,
    }  # fmt: skip
