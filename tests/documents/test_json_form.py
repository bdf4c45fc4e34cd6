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
    "levers", "looks", "smallest_set",
}  # fmt: skip
PLAN = {"assessment", "choices", "steps", "drills", "kit", "cautions", "supervision"}


def through_json(data: dict[str, Any]) -> dict[str, Any]:
    """Written and read again; raises on NaN, on dates and on any other thing that is not plain."""
    again: dict[str, Any] = json.loads(json.dumps(data, allow_nan=False))
    assert again == data
    return again


def assert_reading_lies_within(range_: dict[str, Any]) -> None:
    assert set(range_) == {"least", "most", "on_record", "proved"}
    assert range_["on_record"] is None or range_["least"] <= range_["on_record"] <= range_["most"]


def test_assessment(plan: Plan) -> None:
    data = through_json(assessment_json(plan.assessment))
    assert set(data) >= ASSESSMENT
    assert set(data["rulebook"]) >= {"id", "version", "sha256", "status"}
    assert_reading_lies_within(data["points"])
    assert set(data["tier"]) >= {"working", "least", "most", "decided_by", "on_record", "proved"}
    tier = data["tier"]
    assert tier["least"] <= tier["working"] <= tier["most"]
    assert (tier["on_record"] is None) == (data["points"]["on_record"] is None)
    assert tier["on_record"] is None or tier["least"] <= tier["on_record"] <= tier["working"]
    assert set(data["probability"]) >= {"model", "outcome", "not_counted", "by_operator"}
    assert set(data["probability"]["by_operator"]) == {"early", "middle", "late", "independent", "fellow", "consultant"}
    for operator in data["probability"]["by_operator"].values():
        on_record = operator["least"] if operator["on_record"] is None else operator["on_record"]
        assert 0 < operator["least"] <= on_record <= operator["most"] < 1
    assert all(isinstance(words, str) for words in data["probability"]["not_counted"])
    for name in ("muhtaseb-2004", "han-2020"):
        assert_reading_lies_within(data["published_scores"][name]["points"])
    assert all(set(factor) >= {"id", "state", "because", "points"} for factor in data["factors"])
    states = {"holds", "does-not-hold", "unknown", "not-applicable"}
    assert {factor["state"] for factor in data["factors"]} <= states
    assert data["readiness"]["state"] in ("ready", "settle-first")
    assert all(isinstance(words, str) for words in data["readiness"]["because"])
    assert all(set(missing) >= {"finding", "would_settle"} for missing in data["missing"])
    # Every missing finding is looked for at one sitting, and at one only.
    assert all(set(look) >= {"look", "label", "who", "minutes", "findings"} for look in data["looks"])
    looked_for = [finding for look in data["looks"] for finding in look["findings"]]
    assert sorted(looked_for) == sorted(missing["finding"] for missing in data["missing"])
    assert all(set(lever) >= {"finding", "to", "tier"} for lever in data["levers"])


def test_plan(plan: Plan) -> None:
    data = through_json(plan_json(plan))
    assert set(data) >= PLAN
    for choice in data["choices"].values():
        assert set(choice) >= {"option", "provisional", "do", "why", "rejected", "if_found"}
        assert all(set(gate) >= {"finding", "when", "with", "option", "do", "before"} for gate in choice["if_found"])
        others = {other["option"] for other in choice["rejected"] if other["possible"]}
        assert {gate["option"] for gate in choice["if_found"]} <= others
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
