"""The demo's spreadsheet export: what is read, what is set aside and why, and that the rest goes on."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import in_process

from planner import strict_yaml
from planner.assess.assess import assess
from planner.exchange.case_reader import ReadCase, SetAside, read_cases
from planner.rulebook.rulebook import Rulebook

DEMO = Path(__file__).parents[2] / "demo_cases"
LIST = DEMO / "list.csv"


@pytest.fixture(scope="module")
def expected() -> dict[str, object]:
    path = DEMO / "expected" / "list.yaml"
    return strict_yaml.read(path.read_text(encoding="utf-8"), str(path)).data


def test_it_is_the_awkward_file_it_claims_to_be() -> None:
    content = LIST.read_bytes()
    assert content.startswith(b"\xef\xbb\xbf"), "no byte order mark"
    lines = content.decode("utf-8-sig").split("\r\n")
    assert lines[0].count(";") > 20 and ";23,41;" in lines[1]
    assert "" in lines[1:-1] and any(line and not line.strip(";") for line in lines)


def test_good_rows_are_read_and_assessed(expected, rulebook: Rulebook) -> None:
    items = read_cases(str(LIST), rulebook.vocabulary)
    read = {item.case.reference: item.case for item in items if isinstance(item, ReadCase)}
    assert list(read) == list(expected["read"])
    for reference, told in expected["read"].items():
        case = read[reference]
        assert case.eye == told["eye"]
        for finding, value in told["values"].items():
            assert case.findings[finding] == rulebook.vocabulary.by_id[finding].read(value), (reference, finding)
        assessment = assess(case, rulebook, None, None)
        assert assessment.tier.working == int(told["tier"]), reference
        assert assessment.tier.on_record == int(told["on_record"]), reference
        assert set(told["hold"]) <= {factor.id for factor in assessment.factors if factor.state == "holds"}


def test_a_set_of_two_is_read_whole(rulebook: Rulebook) -> None:
    (case,) = [
        item.case
        for item in read_cases(str(LIST), rulebook.vocabulary)
        if isinstance(item, ReadCase) and item.case.reference == "L-205"
    ]
    assert set(case.findings["alpha_blocker_ever"]) == {"tamsulosin", "doxazosin"}


def test_the_bad_row_is_set_aside_with_its_row_and_column(expected, rulebook: Rulebook) -> None:
    refused = [item for item in read_cases(str(LIST), rulebook.vocabulary) if isinstance(item, SetAside)]
    assert len(refused) == len(expected["set_aside"])
    for item, told in zip(refused, expected["set_aside"], strict=True):
        assert told["case"] in item.original.cells
        assert f"row {told['line']}" in item.why
        assert all(word in item.why for word in told["names"]), item.why


def test_the_command_finishes_the_good_rows_and_says_what_it_set_aside(expected, tmp_path: Path) -> None:
    arguments = ["plan", str(LIST), "--unit", str(DEMO / "unit.yaml"), "--format", "text", "-o", f"{tmp_path}/"]
    result = in_process(*arguments)
    assert result.code == 1, result.err
    written = [path.name for path in tmp_path.glob("*.txt")]
    assert len(written) == len(expected["read"])
    assert all(any(reference in name for name in written) for reference in expected["read"])
    (aside,) = tmp_path.glob("*set-aside.csv")
    text = aside.read_text(encoding="utf-8")
    assert all(told["case"] in text for told in expected["set_aside"])
    assert not any(reference in text for reference in expected["read"])
    assert "1 of 5" in result.err and "Traceback" not in result.err
