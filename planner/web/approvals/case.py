"""What waits for a consultant; one case before them: what decides it, what was measured, the forms to decide with."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import AfterValidator, BeforeValidator, Field

from planner.assess.trace import labels, reached_findings
from planner.desk.approving import CaseForApproval, case_for_approval, enter_lapses, stage_asked
from planner.desk.lists import lists_now
from planner.documents.json_form import plan_json
from planner.plan.plan import Plan
from planner.records.approval_validity import standing_on
from planner.records.rows import CaseNow
from planner.records.trail import canonical
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
from planner.web.lists.weeks import needed_at_once
from planner.web.security.authorisation import Deciding
from planner.web.server.case_state import state_of, turn, urgency_words
from planner.web.server.forms import Number, Prefixed, SeenForm, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import APPROVAL, CaseAsked, Site, approval_path, site_of
from planner.wording.conditions import sentence
from planner.wording.people import supervised_by

router = APIRouter()
# What a printed plan has room for.
LONGEST = 200
LATEST_PLACE = 99


def _line(name: str) -> AfterValidator:
    return up_to(LONGEST, f"{name}: more than the {LONGEST} characters that print")


def _tier(sent: object) -> int | None:
    return int(str(sent)) if sent in ("1", "2", "3", "4") else None


class DecisionForm(SeenForm):
    """`plan_shown` is the digest of the plan that the page showed; `tier`, `mode` and `who` may change the plan."""

    version: Number = None
    plan_shown: str = Field("", alias="seen")
    covers: Literal["table", "as-named", ""] = ""
    tier: Annotated[int | None, BeforeValidator(_tier)] = None
    mode: Text = ""
    who: Annotated[dict[str, Text], Prefixed("who.")] = {}
    conditions: Annotated[Text, _line("conditions")] = ""
    operator_conditions: Annotated[Text, _line("conditions on the operator")] = ""
    reason: Annotated[Text, _line("reason")] = ""
    text: Annotated[Text, _line("question")] = ""
    why: Annotated[Text, _line("why")] = ""

    @property
    def typed(self) -> dict[str, str]:
        """What was sent, as it was typed; a name that was not sent is not there."""
        return {name: text for name, text in self.written.items() if text or name in self.model_fields_set}


@router.get("/approvals")
def approvals(request: Request, visitor: Deciding) -> Response:
    site = site_of(request)
    enter_lapses(site.desk)

    def rows(cases: tuple[CaseNow, ...]) -> list[dict[str, object]]:
        return [_row(site, now, visitor.code) for now in sorted(cases, key=lambda now: _order(site, now))]

    store = site.store
    return page(
        request, "approvals.html", waiting=rows(store.waiting()), sent_back=rows(store.cases(state="sent-back")),
        approved=rows(store.cases(state="approved")) + rows(store.cases(state="listed")),
        at_once=needed_at_once(lists_now(site.desk), visitor.code),
    )  # fmt: skip


def _order(site: Site, now: CaseNow) -> tuple[tuple[object, ...], int, str]:
    assessment = site.desk.plans.planned(now.version).assessment
    tier = assessment.tier.working if assessment else LATEST_PLACE
    return turn(site, now.version), -tier, now.case.reference


def _row(site: Site, now: CaseNow, code: str) -> dict[str, object]:
    """One case of a table, planned as it is asked for; `asked` is what this consultant asked last."""
    plan = site.desk.plans.planned(now.version, stage_asked(site.desk, now)).plan
    asked = [question for question in site.store.questions(now.case.id) if question.by == code]
    return {
        "now": now, "plan": plan, "urgency": urgency_words(site, now.version),
        "standing": standing_on(now, site.day_here(), site.rulebook), "asked": asked[-1] if asked else None,
    }  # fmt: skip


@router.get(APPROVAL)
def show(
    request: Request, visitor: Deciding, now: CaseAsked, tier: Annotated[int | None, Query(ge=1, le=4)] = None
) -> Response:
    return case_page(request, now, tier=tier)


def case_page(
    request: Request, now: CaseNow, *faults: str, tier: int | None = None, written: Mapping[str, str] = {}
) -> Response:
    """The case with its forms; `tier` opens the form for changes as it goes with that tier, `written` fills it in."""
    site = site_of(request)
    view = case_for_approval(site.desk, now, request.state.visitor.code)
    plan, standing = view.planned.plan, view.standing
    # What stands is carried into the forms, so that nothing of it is dropped unseen.
    carried = now.approval if standing is not None and standing.state == "stands" else None
    held = {name: getattr(carried, name, "") for name in ("conditions", "operator_conditions")}
    return page(
        request, "approval.html",
        view=view, case=now.case, now=now, plan=plan, state=state_of(site, now), faults=faults,
        path=approval_path(now.case), factors=weighing(plan, view.rulebook) if plan else [], longest=LONGEST,
        seen=digest(plan) if plan else "", by_table=_by_table(view),
        changing=_changing(view, plan, tier, written) if plan else None,
        held=held, written=dict.fromkeys(("reason", "text", "why"), "") | held | dict(written),
    )  # fmt: skip


def _by_table(view: CaseForApproval) -> list[tuple[str, list[tuple[str, str]]]]:
    """For each tier what the table has: the supervision by stage, stages that have the same in one line."""
    found = []
    for tier, by_stage in view.table.items():
        rows: dict[str, list[str]] = {}
        for stage, supervised in by_stage.items():
            rows.setdefault(supervised_by(supervised.mode, supervised.by), []).append(stage.replace("-", " "))
        found.append((str(tier), [(", ".join(stages), mode) for mode, stages in rows.items()]))
    return found


def _changing(view: CaseForApproval, plan: Plan, tier: int | None, written: Mapping[str, str]) -> dict[str, object]:
    """The form for changes: each tier with its supervision for this stage, and the steps as they go with the chosen.

    It begins with what is in force by an approval that stands, where that is of this stage.
    """
    given = view.given if tier is None else None
    chosen = given.approval.tier_approved if given and given.approval else tier or plan.assessment.tier.working
    stage = plan.supervision.stage
    shown = given if given and given.supervision.stage == stage else view.by_tier[chosen]
    return {
        "open": tier is not None, "tier": chosen,
        "tiers": [(tier, by_stage[stage].mode) for tier, by_stage in view.table.items()],
        "mode": written.get("mode") if written.get("mode") in MODES else shown.supervision.mode,
        "who": {step: written.get(f"who.{step}", who) for step, who in shown.hands.items()},
        "modes": [(name, view.rulebook.supervision.modes[name]) for name in MODES],
    }  # fmt: skip


def digest(plan: Plan) -> str:
    """What a decision's form carries, to say of which plan it was made (SHA-256, in hex)."""
    return hashlib.sha256(canonical(plan_json(plan)).encode()).hexdigest()


def weighing(plan: Plan, rulebook: Rulebook) -> list[dict[str, object]]:
    """The factors that hold, or may, and weigh: certain and heaviest first, with what was measured and their limit."""
    case, vocabulary = plan.assessment.case, rulebook.vocabulary

    def measured(name: str) -> dict[str, str]:
        finding, how = vocabulary.by_id[name], "looked for, none found" if name in case.from_section else ""
        if name in case.doubted:
            how = f"{finding.shown(case.doubted[name])} is recorded, and in doubt"
        return {"label": finding.label, "shown": finding.shown(case.in_force.get(name)), "how": how}

    factors = [one for one in plan.assessment.factors if one.state in ("holds", "unknown")]
    states = [one for one in factors if one.state == "holds" or one.most_points or one.floor]
    found: list[dict[str, object]] = []
    for state in sorted(states, key=lambda one: (one.state != "holds", -(one.floor or 0), -one.most_points)):
        when = rulebook.factors[state.id].when
        reached = [n for n in reached_findings(when, rulebook) if n in case.in_force or state.state == "unknown"]
        limit = sentence(when, vocabulary, labels(rulebook))
        found.append({"state": state, "measured": list(map(measured, reached)), "limit": limit})
    return found
