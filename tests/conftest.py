"""Fixtures shared by all tests: the shipped rulebook, loaded once."""

from __future__ import annotations

import pytest

from planner.assess.assess import Assessor, assessor
from planner.rulebook.load import shipped
from planner.rulebook.rulebook import Rulebook

LONG = "takes long; tests/run --long runs it"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run also the tests that take long")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "long: takes long, and runs only with --long")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--long"):
        for item in items:
            if item.get_closest_marker("long") is not None:
                item.add_marker(pytest.mark.skip(reason=LONG))


@pytest.fixture(scope="session")
def rulebook() -> Rulebook:
    return shipped()


@pytest.fixture(scope="session")
def ready(rulebook: Rulebook) -> Assessor:
    return assessor(rulebook)
