"""One case before its consultant: what decides it, what was measured, and the forms to decide with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, cast

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from planner.case import STAGES, Stage
from planner.desk.approving import difference, stage_asked
from planner.documents.figures import day
from planner.plan.approved import Who, allocation_for, supervised_at
from planner.plan.plan import Plan
from planner.records.rows import CaseNow
from planner.records.validity import dated_ahead, holds_until
from planner.rulebook.shapes import MODES, Mode
from planner.unit import ApprovalPolicy
from planner.web.approvals.decision_form import LONGEST
from planner.web.approvals.glance import glance
from planner.web.approvals.standing import plan_as_approved, standing_of, state_of
from planner.web.security.authorisation import Deciding, Visitor
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import APPROVAL, CaseAsked, approval_path
from planner.wording.people import supervised_by

router = APIRouter()


@router.get(APPROVAL)
def show(
    request: Request, visitor: Deciding, now: CaseAsked, tier: Annotated[int | None, Query(ge=1, le=4)] = None
) -> Response:
    return case_page(request, now, visitor, tier=tier)


def case_page(
    request: Request,
    now: CaseNow,
    visitor: Visitor,
    faults: tuple[str, ...] = (),
    tier: int | None = None,
    written: Mapping[str, str] | None = None,
) -> Response:
    """The case with its forms; `tier` opens the form for changes as it goes with that tier, `written` fills it in."""
    site = site_of(request)
    judged = site.plans.planned(now.version, stage_asked(site.desk, now))
    plan = judged.plan
    approvals, standing, written = site.store.approvals(now.case.id), standing_of(site, now), dict(written or {})
    # What stands is carried into the forms, so that nothing of it is dropped unseen.
    given = now.approval if standing is not None and standing.state == "stands" else None
    held = {"conditions": given.conditions, "operator_conditions": given.operator_conditions} if given else {}
    in_force = plan_as_approved(site, now) if plan else None
    authors = {version.by for version in site.store.versions(now.case.id)}
    return page(
        request, "approval.html", 422 if faults else 200,
        case=now.case, now=now, state=state_of(site, now), path=approval_path(now.case),
        plan=plan, faults=faults, judged=judged,
        glance=glance(plan, site.rulebook) if plan else None,
        in_force=in_force,
        asked=difference(site.desk, now, plan) if plan else None,
        by_table=_by_table(site, plan) if plan else [],
        standing=standing, earlier=[given for given in reversed(approvals) if given.ended],
        questions=site.store.questions(now.case.id), longest=LONGEST,
        own=visitor.code in authors, aged=_aged(site, now),
        barred=site.store.may_not_approve(now.case.id, visitor.code, who_may(site)),
        changing=_changing(site, plan, tier, written, in_force if given else None) if plan else None,
        held=dict.fromkeys(("conditions", "operator_conditions"), "") | held,
        written=dict.fromkeys(("conditions", "operator_conditions", "reason", "text", "why"), "") | held | written,
    )  # fmt: skip


def who_may(site: Site) -> ApprovalPolicy:
    """The unit's word on who may approve; the strict one where the server was given no unit's file."""
    return site.unit.approvals if site.unit else ApprovalPolicy()


def _aged(site: Site, now: CaseNow) -> str:
    """What has aged already, or is dated later than today, so that an approval would not stand; else empty."""
    if ahead := dated_ahead(now, site.day_here(), site.rulebook):
        return f"{'; '.join(ahead)}: later than today"
    until = holds_until(now, site.rulebook)
    return f"{until[1]}: it held until {day(until[0])}" if until and until[0] < site.day_here() else ""


def _by_table(site: Site, plan: Plan) -> list[tuple[str, list[tuple[str, str]]]]:
    """For each tier what the table has: the supervision by stage, stages that have the same in one line."""
    found = []
    for shape in sorted(site.rulebook.tiers.tiers, key=lambda shape: shape.tier):
        rows: dict[str, list[str]] = {}
        for stage in STAGES:
            held = supervised_at(plan, site.rulebook, shape.tier, stage)
            rows.setdefault(supervised_by(held.mode, held.by), []).append(stage.replace("-", " "))
        found.append((str(shape.tier), [(", ".join(stages), mode) for mode, stages in rows.items()]))
    return found


def _changing(
    site: Site, plan: Plan, tier: int | None, written: Mapping[str, str], in_force: Plan | None
) -> dict[str, object]:
    """The form for changes: each tier with its supervision for this stage, and the steps as they go with the chosen.

    It begins with what is `in_force` by an approval that stands, where that is of this stage.
    """
    chosen = tier or plan.assessment.tier.working
    given = allocation_for(plan, site.rulebook, chosen)
    if tier is None and in_force is not None and in_force.approval is not None:
        chosen = in_force.approval.tier_approved
        given = allocation_for(plan, site.rulebook, chosen)
        if in_force.supervision.stage == plan.supervision.stage:
            who: dict[str, Who] = {step.id: step.who for step in in_force.steps}
            given = replace(given, mode=cast(Mode, in_force.supervision.mode), who=who)
    mode = written.get("mode") if written.get("mode") in MODES else given.mode
    hands = {step.id: written.get(f"who.{step.id}", given.who[step.id]) for step in plan.steps}
    stage = cast(Stage, plan.supervision.stage)
    tiers = [
        (shape.tier, shape.label, supervised_at(plan, site.rulebook, shape.tier, stage).mode)
        for shape in sorted(site.rulebook.tiers.tiers, key=lambda shape: shape.tier)
    ]
    return {
        "open": tier is not None, "tier": chosen, "tiers": tiers, "mode": mode, "who": hands,
        "modes": [(name, site.rulebook.supervision.modes[name]) for name in MODES],
    }  # fmt: skip
