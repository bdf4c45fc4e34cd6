"""A case written as a case file is read as the same case, as YAML and as JSON."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
import yaml
from random_cases import as_case, complete_values

from planner import strict_yaml
from planner.assess.assess import Assessor
from planner.case import Case, read_case
from planner.case_file import case_file, yaml_of
from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, read_cases
from planner.rulebook.rulebook import Rulebook

DEMO = sorted((Path(__file__).parents[1] / "demo_cases" / "cases").glob("*.yaml"))


def through_yaml(case: Case, rulebook: Rulebook) -> Case:
    return read_case(strict_yaml.read(yaml_of(case_file(case)), "written").data, rulebook.vocabulary)


def through_json(case: Case, rulebook: Rulebook) -> Case:
    return read_case(json.loads(json.dumps(case_file(case))), rulebook.vocabulary)


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.stem)
def test_every_demonstration_case_comes_back_equal(path: Path, rulebook: Rulebook) -> None:
    (read,) = read_cases(str(path), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    assert through_yaml(read.case, rulebook) == read.case
    assert through_json(read.case, rulebook) == read.case
    # What was written is what the file had, and nothing that a section filled in.
    raw = strict_yaml.read(path.read_text("utf-8"), path.name).data
    meant = {rulebook.vocabulary.aliases.get(name, name) for name in raw["findings"]}
    assert set(case_file(read.case)["findings"]) == meant
    assert set(case_file(read.case)) == set(raw)


def test_random_cases_come_back_equal(rulebook: Rulebook, ready: Assessor) -> None:
    draw = random.Random(7)
    sections = [section.id for section in rulebook.vocabulary.sections]
    tried = doubts = 0
    for _ in range(150):
        drawn = as_case(ready.compiled, complete_values(ready.compiled, draw), draw.choice(("left", "right")))
        data = case_file(drawn)
        for name in list(data["findings"]):
            match draw.randrange(6):
                case 0:
                    del data["findings"][name]
                case 1:
                    data["findings"][name] = "not-recorded"
        data["none_found_in"] = draw.sample(sections, draw.randrange(len(sections)))
        try:
            case = read_case(data, rulebook.vocabulary)
        except PlannerError:
            continue  # what a section fills in may not stand beside what was left
        tried, doubts = tried + 1, doubts + bool(case.doubted)
        assert through_yaml(case, rulebook) == case
        assert through_json(case, rulebook) == case
    assert tried > 50 and doubts > 5, (tried, doubts)


def test_a_value_in_doubt_is_written_as_it_was_recorded(rulebook: Rulebook) -> None:
    findings = {"lens_shifts_with_posture": "yes", "phacodonesis": "no"}
    case = read_case({"case": "A-1", "eye": "left", "findings": findings}, rulebook.vocabulary)
    assert case.doubted
    assert case_file(case)["findings"] == findings
    assert through_yaml(case, rulebook) == case


def test_not_recorded_inside_a_section_looked_through_stays_unknown(rulebook: Rulebook) -> None:
    data: dict[str, Any] = {"case": "A-1", "eye": "left", "none_found_in": ["pupil-and-zonule"]}
    case = read_case(data | {"findings": {"phacodonesis": "not-recorded"}}, rulebook.vocabulary)
    assert "phacodonesis" not in through_yaml(case, rulebook).findings
    assert case_file(case)["findings"] == {"phacodonesis": "not-recorded"}


def test_a_finding_taken_away_is_written_as_not_recorded(rulebook: Rulebook) -> None:
    data = {"case": "A-1", "eye": "left", "none_found_in": ["pupil-and-zonule"], "findings": {}}
    case = read_case(data, rulebook.vocabulary)
    assert "phacodonesis" in case.findings
    without = case.with_finding("phacodonesis", None)
    assert through_yaml(without, rulebook) == without
    assert through_yaml(without.with_finding("phacodonesis", True), rulebook).findings["phacodonesis"] is True


@pytest.mark.parametrize(
    "text",
    ["null", "~", "yes", "12:30", "0123", "# 5", "a: b", "- x", 'say "x"', "it's", "[1]", "é–漢", "\\n", "!x", "*a"],
)
def test_any_words_stay_as_they_are(text: str, rulebook: Rulebook) -> None:
    # As a finding, `null` is refused by the vocabulary; as a reference it is a word.
    findings = {} if text == "null" else {"biometry_reference": text}
    data = {"case": text, "eye": "right", "patient": text, "findings": findings}
    case = read_case(data, rulebook.vocabulary)
    assert through_yaml(case, rulebook) == case
    # Any reader of YAML 1.1 gets the same words where they are quoted, as PyYAML does.
    assert isinstance(yaml.safe_load(yaml_of(case_file(case))), dict)


@pytest.mark.parametrize("number", [-12.25, -0.5, 0.1 + 0.2, 1e-7, 23.41, 20.0])
def test_a_number_keeps_every_figure_and_has_no_exponent(number: float, rulebook: Rulebook) -> None:
    case = read_case(
        {"case": "A-1", "eye": "left", "findings": {"spherical_equivalent_d": number}}, rulebook.vocabulary
    )
    assert through_yaml(case, rulebook).findings["spherical_equivalent_d"] == number
