"""What all tests share: the shipped rulebook, loaded once; what `--long` asks for; the order of the files."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
import seeds

from planner.assess.assess import Assessor, assessor
from planner.rulebook.load import shipped
from planner.rulebook.rulebook import Rulebook

if TYPE_CHECKING:
    from playwright.sync_api import Browser

LONG = "takes long; tests/run --long runs it"
# Files that take longest, the longest first: begun late, one of them would keep one core waiting for the other.
FIRST = (
    "web/test_browser.py",
    "web/test_approvals_browser.py",
    "web/test_lists_sessions.py",
    "web/test_lists_browser.py",
    "rulebook/test_proof_faults.py",
    "web/test_form.py",
    "documents/test_pdf.py",
    "test_rules_compare.py",
    "test_readme.py",
    "test_properties.py",
    "documents/test_print.py",
    "web/test_failures.py",
    "rulebook/test_cases.py",
    "lists/test_second_opinion.py",
    "documents/test_rendering.py",
    "web/test_approvals.py",
    "lists/test_from_records.py",
    "web/test_roster_browser.py",
    "test_api.py",
    "lists/test_brief.py",
    "cli/test_papers.py",
    "web/test_cases.py",
    "cli/test_commands.py",
    "web/test_serve.py",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run also the tests that take long, and draw more in others")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "long: takes long, and runs only with --long")
    config.addinivalue_line("markers", "with_lists: the store of tests/web has the demonstration's pool")
    seeds.configure(config.getoption("--long"))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--long"):
        left_out = [item for item in items if item.get_closest_marker("long") is not None]
        items[:] = [item for item in items if item.get_closest_marker("long") is None]
        config.hook.pytest_deselected(items=left_out)
    rank = {name: place for place, name in enumerate(FIRST)}
    items.sort(key=lambda item: rank.get(item.path.relative_to(config.rootpath / "tests").as_posix(), len(rank)))


@pytest.fixture(scope="session")
def rulebook() -> Rulebook:
    return shipped()


@pytest.fixture(scope="session")
def ready(rulebook: Rulebook) -> Assessor:
    return assessor(rulebook)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """A real browser, one for all that a process tests."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield browser
        browser.close()
