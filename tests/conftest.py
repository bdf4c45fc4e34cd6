"""Fixtures shared by all tests: the shipped rulebook, loaded once."""

from __future__ import annotations

import pytest

from planner.assess.assess import Assessor, assessor
from planner.rulebook.load import shipped
from planner.rulebook.rulebook import Rulebook


@pytest.fixture(scope="session")
def rulebook() -> Rulebook:
    return shipped()


@pytest.fixture(scope="session")
def ready(rulebook: Rulebook) -> Assessor:
    return assessor(rulebook)
