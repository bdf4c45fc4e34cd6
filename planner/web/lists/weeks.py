"""The organiser's page: the pool of approved cases without a place, narrowed as asked, and the coming weeks' lists."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field

from planner.desk.approving import enter_lapses
from planner.desk.doubts import doubts
from planner.desk.lists import ListsNow, lists_now
from planner.desk.plan_in_force import plan_as_given
from planner.lists.rules.people import supervisor_is_free, trainee_is_free
from planner.plan.plan import Plan
from planner.records.approval_validity import stands_on
from planner.records.rows import CaseNow
from planner.web.security.authorisation import Building
from planner.web.server.case_state import finding_words, holds_words, past_words, turn, urgency_words
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()
WEEKS = 6
AGREED = ("consent_to_surgery", "trainee_involvement_agreed")
BOTH, MISSING, REFUSED = "both recorded", "not all recorded", "trainee refused"
Choice = Annotated[str, Field(max_length=60)]


class Narrowing(BaseModel):
    """The value that a case must have, by filter; an empty one narrows nothing."""

    tier: Choice = ""
    stage: Choice = ""
    anaesthesia: Choice = ""
    kit: Choice = ""
    urgency: Choice = ""
    consent: Choice = ""


@router.get("/lists")
def lists(request: Request, visitor: Building, wanted: Annotated[Narrowing, Query()]) -> Response:
    site = site_of(request)
    enter_lapses(site.desk)
    every, now = _pool(site), lists_now(site.desk)
    offered: dict[str, dict[str, str]] = {name: {} for name in Narrowing.model_fields}
    for name in offered:
        for case in every:
            offered[name] |= case["labels"][name]
    return page(
        request, "lists.html", now=now, at_once=needed_at_once(now, visitor.code),
        every=every, wanted=wanted, narrows=any(value for _, value in wanted), days=_coming(site),
        cases=[case for case in every if all(value in case["labels"][name] for name, value in wanted if value)],
        offered={name: sorted(values.items(), key=lambda one: one[1]) for name, values in offered.items()},
    )  # fmt: skip


def needed_at_once(lists: ListsNow | None, code: str) -> list[str]:
    """Where somebody is asked for in two rooms at one time, in the checker's words."""
    of_people = (supervisor_is_free.id, trainee_is_free.id)
    return [one.says for one in lists.verdict.broken if one.rule in of_people and code in one.people] if lists else []


def _pool(site: Site) -> list[dict[str, Any]]:
    """Every case of it: past its date first, then the most urgent, then the longest wait."""
    stand = (now for now in site.store.cases(state="approved") if stands_on(now, site.day_here(), site.rulebook))
    cases = [now for now in stand if site.desk.plans.planned(now.version).plan is not None]
    cases.sort(key=lambda now: (turn(site, now.version), now.case.reference))
    return [_case(site, now, plan_as_given(site.desk, now)) for now in cases]


def _case(site: Site, now: CaseNow, plan: Plan) -> dict[str, Any]:
    """A case of the pool; `labels` are the values that it has of each filter, with their labels."""
    assert now.approval is not None
    findings, tier, supervision = now.version.findings, now.approval.tier_approved, plan.supervision
    recorded = [findings.get(name) for name in AGREED]
    consent = REFUSED if recorded[1] == "no" else BOTH if recorded == ["yes", "yes"] else MISSING
    anaesthesia, urgency = (finding_words(site, now.version, name) for name in ("anaesthesia_requested", "urgency"))
    labels = {
        "tier": {str(tier): f"Tier {tier}"}, "stage": {supervision.stage: supervision.stage_label},
        "anaesthesia": {str(findings.get("anaesthesia_requested") or "not-recorded"): anaesthesia},
        "kit": {item.id: item.label for item in plan.kit if item.need == "essential"},
        "urgency": {urgency: urgency}, "consent": {consent: consent},
    }  # fmt: skip
    return {
        "now": now, "plan": plan, "labels": labels, "urgency": urgency_words(site, now.version),
        "past": past_words(site, now.version), "until": holds_words(site, now),
    }  # fmt: skip


def _coming(site: Site) -> list[dict[str, object]]:
    """The days that have lists, each with its theatres, and how many doubts there are."""
    first = site.day_here()
    people = {person.code: person for person in site.store.people()}
    days: dict[datetime.date, dict[str, list[CaseNow]]] = {}
    for case in site.store.lists(first, first + datetime.timedelta(weeks=WEEKS)):
        if case.allocation is not None:
            days.setdefault(case.allocation.day, {}).setdefault(case.allocation.theatre, []).append(case)
    found: list[dict[str, object]] = []
    for day, theatres in days.items():
        of_day = [now for cases in theatres.values() for now in cases]
        told = sum(len(doubts(site.desk, now, of_day, people)) for now in of_day)
        found.append({"day": day, "theatres": theatres.items(), "doubts": told})
    return found
