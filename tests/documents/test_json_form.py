"""JSON, against the names that exports and checks outside the program rely on."""

from __future__ import annotations

import json
from typing import Any

import pytest

from planner.documents.json_form import assessment_json, plan_json
from planner.plan.plan import Plan

from .conftest import PlanOf

ASSESSMENT = {
    "case", "eye", "rulebook", "points", "tier", "probability", "published_scores", "factors", "readiness", "missing",
    "levers",
}  # fmt: skip
PLAN = {"assessment", "choices", "steps", "drills", "kit", "cautions", "supervision"}


def through_json(data: dict[str, Any]) -> dict[str, Any]:
    """Written and read again; raises on NaN, on dates and on any other thing that is not plain."""
    again: dict[str, Any] = json.loads(json.dumps(data, allow_nan=False))
    assert again == data
    return again


def test_assessment(plan: Plan) -> None:
    data = through_json(assessment_json(plan.assessment))
    assert set(data) >= ASSESSMENT
    assert set(data["rulebook"]) >= {"id", "version", "sha256", "status"}
    assert set(data["points"]) == {"least", "most"}
    assert set(data["tier"]) >= {"working", "least", "most", "decided_by"}
    assert set(data["probability"]) >= {"model", "outcome", "not_counted", "by_operator"}
    assert set(data["probability"]["by_operator"]) == {"early", "middle", "late", "independent", "fellow", "consultant"}
    for operator in data["probability"]["by_operator"].values():
        assert 0 < operator["least"] <= operator["most"] < 1
    assert all(isinstance(words, str) for words in data["probability"]["not_counted"])
    for name in ("muhtaseb-2004", "han-2020"):
        assert set(data["published_scores"][name]["points"]) == {"least", "most"}
    assert all(set(factor) >= {"id", "state", "because", "points"} for factor in data["factors"])
    states = {"holds", "does-not-hold", "unknown", "not-applicable"}
    assert {factor["state"] for factor in data["factors"]} <= states
    assert data["readiness"]["state"] in ("ready", "settle-first")
    assert all(isinstance(words, str) for words in data["readiness"]["because"])
    assert all(set(missing) >= {"finding", "would_settle"} for missing in data["missing"])
    assert all(set(lever) >= {"finding", "to", "tier"} for lever in data["levers"])


def test_plan(plan: Plan) -> None:
    data = through_json(plan_json(plan))
    assert set(data) >= PLAN
    for choice in data["choices"].values():
        assert set(choice) >= {"option", "provisional", "do", "why", "rejected"}
    for step in data["steps"]:
        assert set(step) >= {"id", "who", "do", "watch", "pause_if", "rule_ids"}
        assert step["who"] in ("trainee", "supervisor")
        assert all(isinstance(line, str) for key in ("do", "watch", "pause_if") for line in step[key])
    assert data["drills"][: sum(drill.likely for drill in plan.drills)] == [d.id for d in plan.drills if d.likely]
    assert all(isinstance(item, str) for item in (*data["kit"], *data["drills"]))
    assert [item["id"] for item in data["kit_items"]] == data["kit"]
    assert all(set(caution) >= {"id", "text"} for caution in data["cautions"])
    assert set(data["supervision"]) >= {"mode", "by", "stage", "contact"}


def test_findings_are_plain_and_dates_are_iso(plan_of: PlanOf) -> None:
    recorded = plan_json(plan_of("tamsulosin"))["assessment"]["recorded"]
    assert recorded["findings"]["alpha_blocker_ever"] == ["tamsulosin"]
    assert plan_json(plan_of("routine"))["lens"]["biometry_date"] == "2026-10-14"


@pytest.mark.parametrize("name", ["routine", "half-filled"])
def test_one_case_fits_on_one_line(plan_of: PlanOf, name: str) -> None:
    assert "\n" not in json.dumps(plan_json(plan_of(name)))
