"""The demo cases, assessed and planned once each, beside what a consultant expects of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from planner import strict_yaml
from planner.assess.assess import assess
from planner.assess.assessment import Assessment
from planner.case import Case
from planner.exchange.case_reader import ReadCase, read_cases
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
NAMES = sorted(path.stem for path in (DEMO / "cases").glob("*.yaml"))


@dataclass(frozen=True)
class Planned:
    """One demo case with its real assessment and plan, and the expectation beside it (all scalars text)."""

    name: str
    expected: dict[str, Any]
    case: Case
    assessment: Assessment
    plan: Plan


def expectation(name: str) -> dict[str, Any]:
    path = DEMO / "expected" / f"{name}.yaml"
    return strict_yaml.read(path.read_text(encoding="utf-8"), str(path)).data


@pytest.fixture(scope="session")
def unit(rulebook: Rulebook) -> Unit:
    return read_unit(DEMO / "unit.yaml", rulebook)


@pytest.fixture(scope="session")
def plan_of(rulebook: Rulebook, unit: Unit) -> Callable[[str], Planned]:
    """Assess and plan a demo case by name; each is done once a session."""

    @cache
    def planned(name: str) -> Planned:
        (item,) = read_cases(str(DEMO / "cases" / f"{name}.yaml"), rulebook.vocabulary)
        assert isinstance(item, ReadCase), item
        assessment = assess(item.case, rulebook, unit, None)
        return Planned(name, expectation(name), item.case, assessment, make_plan(assessment, rulebook, unit))

    return planned


@pytest.fixture(params=NAMES)
def demo(request: pytest.FixtureRequest, plan_of: Callable[[str], Planned]) -> Planned:
    return plan_of(request.param)


@pytest.fixture(scope="session")
def names() -> list[str]:
    return NAMES
