"""What waits for a consultant, what was sent back, and what is approved, each in the order of its urgency."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from planner.desk.approving import stage_asked
from planner.desk.lists import lists_now
from planner.records.rows import CaseNow
from planner.web.approvals.standing import enter_lapses, standing_of
from planner.web.lists.shown import needed_at_once
from planner.web.security.authorisation import Deciding, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urgency import turn, urgency_words
from planner.web.server.urls import approval_path
from planner.wording.reasons import SettleReason
from planner.wording.tier import short_readings

router = APIRouter()
LATEST_PLACE = 99


@dataclass(frozen=True)
class Line:
    """One case of a table. `settle` counts what is to settle first, `certain` how much of it is so for certain."""

    reference: str
    eye: str
    path: str
    urgency: str
    tier: str
    label: str
    stage: str
    settle: int
    certain: int
    since: str
    by: str
    own: bool
    question: str
    answered: bool
    approved: str
    standing: str


@router.get("/approvals")
def approvals(request: Request, visitor: Deciding) -> Response:
    site = site_of(request)
    enter_lapses(site)

    def lines(cases: tuple[CaseNow, ...]) -> list[Line]:
        return [_line(site, now, visitor) for now in sorted(cases, key=lambda now: _order(site, now))]

    store = site.store
    return page(
        request, "approvals.html", waiting=lines(store.waiting()), sent_back=lines(store.cases(state="sent-back")),
        approved=lines(store.cases(state="approved")) + lines(store.cases(state="listed")),
        at_once=needed_at_once(lists, visitor.code) if (lists := lists_now(site.desk)) else [],
    )  # fmt: skip


def _order(site: Site, now: CaseNow) -> tuple[tuple[object, ...], int, str]:
    assessment = site.plans.planned(now.version).assessment
    tier = assessment.tier.working if assessment else LATEST_PLACE
    return turn(site, now.version), -tier, now.case.reference


def _line(site: Site, now: CaseNow, visitor: Visitor) -> Line:
    judged = site.plans.planned(now.version, stage_asked(site.desk, now))
    plan, waiting, given = judged.plan, now.submission, now.approval
    tier, label, stage = "cannot be judged", "", ""
    reasons: tuple[SettleReason, ...] = ()
    if plan is not None:
        shown, reasons = plan.assessment.tier, plan.assessment.readiness.because
        tier = short_readings(shown.on_record, shown.working)
        label, stage = shown.label, plan.supervision.stage_label
        stage += "; something else is asked than was approved" if waiting and given else ""
    asked = [question for question in site.store.questions(now.case.id) if question.by == visitor.code]
    standing = standing_of(site, now)
    return Line(
        now.case.reference, now.case.eye, approval_path(now.case), urgency_words(site, now.version),
        tier, label, stage, len(reasons), sum(reason.certain for reason in reasons),
        day_and_time(waiting.at if waiting else given.at if given else now.version.at),
        waiting.by if waiting else given.by if given else now.version.by,
        bool(waiting and waiting.by == visitor.code),
        asked[-1].text if asked else "", bool(asked and asked[-1].answers),
        str(given.tier_approved) if given else "",
        "" if standing is None else ": ".join([standing.state.capitalize(), *standing.because[:1]]),
    )  # fmt: skip
