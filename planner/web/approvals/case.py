"""One case before its consultant: what decides it, what was measured, and the forms to decide with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query, Request
from pydantic import AfterValidator, BeforeValidator, Field
from starlette.responses import Response

from planner.desk.approving import CaseForApproval, case_for_approval
from planner.plan.plan import Plan
from planner.rulebook.shapes import MODES
from planner.web.approvals.glance import digest, weighing
from planner.web.security.authorisation import Deciding
from planner.web.server.case_state import state_of
from planner.web.server.forms import Number, Prefixed, SeenForm, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import APPROVAL, CaseAsked, approval_path
from planner.wording.people import supervised_by

router = APIRouter()
# What a printed plan has room for.
LONGEST = 200


def _line(name: str) -> AfterValidator:
    return up_to(LONGEST, f"{name}: more than the {LONGEST} letters that print")


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


def view_asked(request: Request, visitor: Deciding, now: CaseAsked) -> CaseForApproval:
    """What the case of an address comes to for whoever decides on it."""
    return case_for_approval(site_of(request).desk, now, visitor.code)


@router.get(APPROVAL)
def show(
    request: Request,
    view: Annotated[CaseForApproval, Depends(view_asked)],
    tier: Annotated[int | None, Query(ge=1, le=4)] = None,
) -> Response:
    return case_page(request, view, tier=tier)


def case_page(
    request: Request,
    view: CaseForApproval,
    faults: tuple[str, ...] = (),
    tier: int | None = None,
    written: Mapping[str, str] | None = None,
) -> Response:
    """The case with its forms; `tier` opens the form for changes as it goes with that tier, `written` fills it in."""
    now, plan, standing, written = view.now, view.planned.plan, view.standing, dict(written or {})
    stands = standing is not None and standing.state == "stands"
    # What stands is carried into the forms, so that nothing of it is dropped unseen.
    held = {name: getattr(now.approval if stands else None, name, "") for name in ("conditions", "operator_conditions")}
    return page(
        request, "approval.html", 422 if faults else 200,
        case=now.case, now=now, state=state_of(site_of(request), now), path=approval_path(now.case),
        plan=plan, faults=faults, judged=view.planned,
        factors=weighing(plan, view.rulebook) if plan else [], seen=digest(plan) if plan else "",
        in_force=view.given, asked=view.difference, by_table=_by_table(view),
        standing=standing, earlier=view.ended[::-1],
        questions=view.questions, longest=LONGEST,
        own=view.own, aged=view.aged, barred=view.barred,
        changing=_changing(view, plan, tier, written) if plan else None,
        held=held, written=dict.fromkeys(("reason", "text", "why"), "") | held | written,
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
    labels = {shape.tier: shape.label for shape in view.rulebook.tiers.tiers}
    return {
        "open": tier is not None, "tier": chosen,
        "tiers": [(tier, labels[tier], by_stage[stage].mode) for tier, by_stage in view.table.items()],
        "mode": written.get("mode") if written.get("mode") in MODES else shown.supervision.mode,
        "who": {step: written.get(f"who.{step}", who) for step, who in shown.hands.items()},
        "modes": [(name, view.rulebook.supervision.modes[name]) for name in MODES],
    }  # fmt: skip
