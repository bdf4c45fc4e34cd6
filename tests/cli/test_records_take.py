"""`planner records take`: files into the store, as if typed into the form, and nothing written over."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran

from planner.exchange.case_reader import ReadCase, read_cases
from planner.records.roles import COMMAND_LINE
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

DEMO = Path(__file__).parents[2] / "demo_cases" / "cases"
Planner = Callable[..., Ran]


@pytest.fixture
def store(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store in the working folder with one trainee in it."""
    monkeypatch.delenv("PLANNER_DATABASE_URL", raising=False)
    made = Store.open()
    made.add_person("trainee-3", "An invented trainee", "trainee", COMMAND_LINE)
    return made


def test_every_demonstration_case_is_in_the_store_as_its_file_has_it(
    planner: Planner, store: Store, rulebook: Rulebook
) -> None:
    files = sorted(DEMO.glob("*.yaml"))
    ran = planner("records", "take", *files, "--by", "trainee-3")
    assert ran.code == 0, ran.error
    for file in files:
        (read,) = read_cases(str(file), rulebook.vocabulary)
        assert isinstance(read, ReadCase)
        held = store.find_case(read.case.reference, read.case.eye)
        assert held is not None
        document = store.version(held.id).document
        assert document["planned_stage"] == read.case.planned_stage
        # What is read from a section, or from a finer finding, is read again and never kept as if it were recorded.
        recorded = set(read.case.findings) - read.case.from_section - read.case.from_finer
        assert set(document["findings"]) >= recorded
        assert not set(document["findings"]) & (read.case.from_section | read.case.from_finer)
    assert store.verify().entries > len(files)


def test_a_case_that_is_there_is_refused_and_the_others_go_on(planner: Planner, store: Store) -> None:
    routine, white = DEMO / "routine.yaml", DEMO / "tense-white.yaml"
    assert planner("records", "take", routine, "--by", "trainee-3").code == 0
    again = planner("records", "take", routine, white, "--by", "trainee-3")
    assert again.code == 1 and "1 of 2 cases set aside" in again.error and "is here already" in again.error
    held = store.find_case("H-101", "right")
    assert held is not None and len(store.versions(held.id)) == 1
    assert store.find_case("H-102", "right") is not None


def test_who_prepares_must_be_somebody(planner: Planner, store: Store) -> None:
    ran = planner("records", "take", DEMO / "routine.yaml", "--by", "nobody-9")
    assert ran.code == 1 and "nobody-9" in ran.error and "Traceback" not in ran.error
    assert store.find_case("H-101", "right") is None


def test_what_looks_like_a_name_or_a_number_is_refused(planner: Planner, store: Store, folder: Path) -> None:
    (folder / "named.yaml").write_text("case: Mary Jones 943 476 5919\neye: left\nfindings: {age_years: 70}\n")
    ran = planner("records", "take", "named.yaml", "--by", "trainee-3")
    assert ran.code == 1 and "error:" in ran.error
    assert not store.cases()
