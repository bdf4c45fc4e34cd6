"""The cases, by urgency: what each eye still needs, and whose turn it is."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from planner.readings import read_day
from planner.records.approval_validity import stands_on
from planner.records.roles import PREPARERS
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Reading
from planner.web.server.case_state import state_of, turn
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.wording.tier import short_readings

router = APIRouter()


@router.get("/cases")
def cases(
    request: Request,
    visitor: Reading,
    whose: Annotated[str, Query(max_length=10)] = "",
    q: Annotated[str, Query(max_length=60)] = "",
) -> Response:
    site = site_of(request)
    every = site.store.cases()
    mine = [now for now in every if visitor.code in (*now.owners, now.version.by)]
    show_all = whose == "all" or visitor.role not in PREPARERS
    wanted = q.strip().lower()
    found = [now for now in (every if show_all else mine) if wanted in now.case.reference.lower()]
    rows = [_row(site, now) for now in sorted(found, key=lambda now: (turn(site, now.version), now.case.reference))]
    may_prepare = visitor.role in PREPARERS
    return page(
        request, "cases.html", rows=rows, q=q.strip(), show_all=show_all, mine=len(mine), every=len(every),
        may_prepare=may_prepare,
    )  # fmt: skip


def _row(site: Site, now: CaseNow) -> dict[str, object]:
    judged = site.desk.plans.planned(now.version)
    findings, vocabulary = now.version.findings, site.rulebook.vocabulary.by_id
    tier, ready = "cannot be judged", ""
    if judged.assessment:
        shown = judged.assessment.tier
        tier = short_readings(shown.on_record, shown.working)
        ready = "Ready" if judged.assessment.readiness.state == "ready" else "Settle first"
        given = now.approval
        if given and given.tier_approved != shown.working and stands_on(now, site.day_here(), site.rulebook):
            tier = f"{given.tier_approved} approved, rulebook {tier}"
    urgency = vocabulary.get("urgency")
    said, needed_by = findings.get("urgency"), read_day(findings.get("needed_by"))
    said_urgency = urgency.shown(urgency.read(said)) if urgency and said else "not recorded"
    return {
        "now": now, "state": state_of(site, now), "tier": tier, "ready": ready, "urgency": said_urgency,
        "needed_by": needed_by,
    }  # fmt: skip
