"""Who may approve by the unit's file: strict where it says nothing, and nothing else is taken for a word on it."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.errors import PlannerError
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[1] / "demo_cases" / "unit.yaml"


def unit(folder: Path, text: str) -> Path:
    file = folder / "unit.yaml"
    file.write_text(f"unit: invented\n{text}", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("text", "own_case", "nothing_recorded"),
    [
        ("", False, False),
        ("approvals: {own_case: yes}\n", True, False),
        ("approvals: {own_case: no, nothing_recorded: yes}\n", False, True),
    ],
)
def test_what_is_left_out_is_not_allowed(
    tmp_path: Path, rulebook: Rulebook, text: str, own_case: bool, nothing_recorded: bool
) -> None:
    allowed = read_unit(unit(tmp_path, text), rulebook).approvals
    assert (allowed.own_case, allowed.nothing_recorded) == (own_case, nothing_recorded)


@pytest.mark.parametrize(
    "text", ["approvals: yes\n", "approvals: {own_case: sometimes}\n", "approvals: {anybody: yes}\n", "approvals:\n"]
)
def test_anything_else_is_refused_at_its_line(tmp_path: Path, rulebook: Rulebook, text: str) -> None:
    with pytest.raises(PlannerError, match=r"unit\.yaml:2.*approvals"):
        read_unit(unit(tmp_path, text), rulebook)


def test_the_invented_unit_of_two_consultants_allows_neither(rulebook: Rulebook) -> None:
    allowed = read_unit(DEMO, rulebook).approvals
    assert (allowed.own_case, allowed.nothing_recorded) == (False, False)
