"""A case written as YAML, JSON and CSV, in several spreadsheets' ways, reads back the same."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from planner.case import Case, read_case
from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, read_cases
from planner.rulebook.load import shipped
from planner.vocabulary import Finding

VOCABULARY = shipped().vocabulary
# Letters, marks, numbers and signs of any script, as somebody may write a reference.
TEXT = st.text(st.characters(categories=("L", "N", "P", "S", "Zs"), max_codepoint=0x2FFFF), min_size=1, max_size=40)


def written(finding: Finding) -> st.SearchStrategy[str]:
    """Any value of a finding, as a case file writes it."""
    match finding.kind:
        case "number" | "count":
            assert finding.possible is not None
            low, high = finding.possible
            digits = 0 if finding.kind == "count" else 2
            return st.integers(int(low * 10**digits), int(high * 10**digits)).map(
                lambda n: f"{n / 10**digits:.{digits}f}"
            )
        case "yes-no":
            return st.sampled_from(["yes", "no"])
        case "choice":
            return st.sampled_from(list(finding.values))
        case "set":
            return st.lists(st.sampled_from(list(finding.values)), unique=True).map(
                lambda some: "+".join(some) or "none"
            )
        case "date":
            return st.dates().map(str)
        case "text":
            return TEXT


@st.composite
def cases(draw: st.DrawFn) -> dict[str, Any]:
    """Plain data of a case, all values text."""
    chosen = draw(st.lists(st.sampled_from(VOCABULARY.findings), max_size=12, unique_by=lambda finding: finding.id))
    sections = [section.id for section in VOCABULARY.sections]
    return {
        "case": draw(TEXT),
        "eye": draw(st.sampled_from(["right", "left"])),
        "planned_stage": draw(st.sampled_from(["steps-only", "early", "middle", "late", "independent", ""])),
        "listed_on": draw(st.one_of(st.just(""), st.dates().map(str))),
        "recorded_on": draw(st.one_of(st.just(""), st.dates().map(str))),
        "none_found_in": "+".join(draw(st.lists(st.sampled_from(sections), unique=True, max_size=3))),
        "findings": {finding.id: draw(written(finding)) for finding in chosen},
    }


def as_yaml(raw: dict[str, Any]) -> str:
    def quoted(value: str) -> str:
        return "'" + value.replace("'", "''") + "'"

    top = "".join(f"{key}: {quoted(value)}\n" for key, value in raw.items() if key != "findings")
    return top + "findings:\n" + "".join(f"  {key}: {quoted(value)}\n" for key, value in raw["findings"].items())


def as_json(raw: dict[str, Any]) -> str:
    """With JSON's own types where it has them."""

    def native(finding: Finding, value: str) -> Any:
        match finding.kind:
            case "number" | "count":
                return json.loads(value)
            case "yes-no":
                return value == "yes"
            case "set":
                return value.split("+")
        return value

    findings = {name: native(VOCABULARY.by_id[name], value) for name, value in raw["findings"].items()}
    return json.dumps(raw | {"findings": findings})


def as_csv(raw: dict[str, Any], separator: str, comma: bool) -> str:
    """With a column for every finding; `comma` writes numbers the other way."""
    row = {key: value for key, value in raw.items() if key != "findings"}
    for finding in VOCABULARY.findings:
        value = raw["findings"].get(finding.id, "")
        row[finding.id] = value.replace(".", ",") if comma and finding.kind == "number" else value
    text = io.StringIO()
    writer = csv.DictWriter(text, list(row), delimiter=separator)
    writer.writeheader()
    writer.writerow(row)
    return text.getvalue()


def back(text: str, name: str, encoding: str = "utf-8") -> Case:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(text.encode(encoding))
        (item,) = read_cases(str(path), VOCABULARY)
        assert isinstance(item, ReadCase), item
        return item.case


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(cases())
def test_all_formats_read_back_the_same_case(raw: dict[str, Any]) -> None:
    try:
        case = read_case(raw, VOCABULARY)
    except PlannerError:
        assume(False)
        return
    assert back(as_yaml(raw), "case.yaml") == case
    assert back(as_json(raw), "case.json") == case
    for separator in ";\t,":
        assert back(as_csv(raw, separator, comma=False), "case.csv") == case
        assert back(as_csv(raw, separator, comma=True), "case.csv", "utf-8-sig") == case
    assert back(as_csv(raw, "\t", comma=True), "case.csv", "utf-16") == case
