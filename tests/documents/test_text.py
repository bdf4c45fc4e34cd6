"""The plan as text: within its width, in the order it is needed."""

from __future__ import annotations

import pytest

from planner.documents.plan.text import render_text
from planner.plan.plan import Plan

from .conftest import PlanOf


@pytest.mark.parametrize("width", [60, 100])
def test_no_line_is_wider_than_asked(plan: Plan, width: int) -> None:
    wide = [line for line in render_text(plan, width).splitlines() if len(line) > width and " " in line.strip()]
    assert not wide


def test_order_is_the_order_of_need(plan_of: PlanOf) -> None:
    text = render_text(plan_of("phacomorphic-attack"))
    order = [
        "RIGHT EYE", "TIER 4", "CONSULTANT OPERATES", "SETTLE FIRST", "RISK BY GRADE", "STEP BY STEP", "RE-CHECK",
        "KIT IN THE ROOM", "DRUGS", "LENS", "APPROVAL", "SOURCES", "cataract-training-unit",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_ends_in_one_line_end_and_has_no_trailing_space(plan: Plan) -> None:
    text = render_text(plan)
    assert text.endswith("\n") and not text.endswith("\n\n")
    assert not any(line != line.rstrip() for line in text.splitlines())
