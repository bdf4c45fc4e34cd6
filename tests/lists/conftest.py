"""The demonstration's pool and sessions, gathered once."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.exchange.case_reader import ReadCase, read_cases
from planner.lists.matching.match import Matched, match
from planner.lists.roster.shapes import Roster, read_roster
from planner.lists.week.gather import Gathered
from planner.lists.week.instance import Instance
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"


@pytest.fixture(scope="session")
def demo_unit(rulebook: Rulebook) -> Unit:
    return read_unit(DEMO / "unit.yaml", rulebook)


@pytest.fixture(scope="session")
def demo_roster(rulebook: Rulebook, demo_unit: Unit) -> Roster:
    return read_roster(DEMO / "lists" / "sessions.yaml", demo_unit, rulebook)


@pytest.fixture(scope="session")
def demo_matched(demo: Instance) -> Matched:
    """The demonstration's lists as matching makes them, which takes seconds."""
    return match(demo)


@pytest.fixture(scope="session")
def demo(rulebook: Rulebook, demo_unit: Unit, demo_roster: Roster) -> Instance:
    items = list(read_cases(str(DEMO / "lists" / "pool.csv"), rulebook.vocabulary))
    assert all(isinstance(item, ReadCase) for item in items)
    cases = (item.case for item in items if isinstance(item, ReadCase))
    return Gathered(cases, rulebook, demo_unit, demo_roster).instance
