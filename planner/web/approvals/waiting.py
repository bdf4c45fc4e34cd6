"""What waits for a consultant, what was sent back, and what is approved, each in the order of its urgency."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from planner.desk.approving import stage_asked
from planner.desk.lists import lists_now
from planner.plan.plan import Plan
from planner.records.rows import ApprovalStanding, CaseNow, Question
from planner.web.approvals.standing import enter_lapses, standing_of
from planner.web.lists.shown import needed_at_once
from planner.web.security.authorisation import Deciding, Visitor
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urgency_words import turn, urgency_words
from planner.wording.tier import short_readings

router = APIRouter()
LATEST_PLACE = 99


@dataclass(frozen=True)
class ApprovalRow:
    """One case of a table, planned as it is asked for; `asked` is what this consultant asked last."""

    now: CaseNow
    plan: Plan | None
    tier: str
    urgency: str
    standing: ApprovalStanding | None
    asked: Question | None


@router.get("/approvals")
def approvals(request: Request, visitor: Deciding) -> Response:
    site = site_of(request)
    enter_lapses(site)

    def rows(cases: tuple[CaseNow, ...]) -> list[ApprovalRow]:
        return [_row(site, now, visitor) for now in sorted(cases, key=lambda now: _order(site, now))]

    store = site.store
    return page(
        request, "approvals.html", waiting=rows(store.waiting()), sent_back=rows(store.cases(state="sent-back")),
        approved=rows(store.cases(state="approved")) + rows(store.cases(state="listed")),
        at_once=needed_at_once(lists, visitor.code) if (lists := lists_now(site.desk)) else [],
    )  # fmt: skip


def _order(site: Site, now: CaseNow) -> tuple[tuple[object, ...], int, str]:
    assessment = site.plans.planned(now.version).assessment
    tier = assessment.tier.working if assessment else LATEST_PLACE
    return turn(site, now.version), -tier, now.case.reference


def _row(site: Site, now: CaseNow, visitor: Visitor) -> ApprovalRow:
    plan = site.plans.planned(now.version, stage_asked(site.desk, now)).plan
    asked = [question for question in site.store.questions(now.case.id) if question.by == visitor.code]
    tier = short_readings(plan.assessment.tier.on_record, plan.assessment.tier.working) if plan else "cannot be judged"
    urgency = urgency_words(site, now.version)
    return ApprovalRow(now, plan, tier, urgency, standing_of(site, now), asked[-1] if asked else None)
