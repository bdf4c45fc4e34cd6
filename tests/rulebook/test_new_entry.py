"""`planner rules new`, gone through as whoever writes a first factor does: begin, check, fill in, check, assess."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import yaml
from commands import in_process

from planner import shipped as installation
from planner.errors import PlannerError
from planner.rulebook.check import check
from planner.rulebook.load import load
from planner.rulebook.scaffold import KINDS, begin

CASE = "case: A-1\neye: right\nfindings: {anterior_chamber_depth_mm: 2.2}\n"
FILLED = {
    "label:": "label: Invented crowding",
    "when:": "when: {finding: anterior_chamber_depth_mm, at_most: 2.3}",
    "because:": "because: depth {anterior_chamber_depth_mm}",
    "harm:": "harm: Invented.",
    "misleads_when:": "misleads_when: [never]",
    "limits_basis:": "limits_basis: common-practice",
    "review:": "review: {status: draft, due: 2027-11-01}",
}
CASES = {
    "holds:": "holds: [{anterior_chamber_depth_mm: 2.29}, {anterior_chamber_depth_mm: 2.3}]",
    "does_not_hold:": "does_not_hold: [{anterior_chamber_depth_mm: 2.31}]",
    "unknown:": "unknown: [{}]",
}


def run(*words: object) -> str:
    """Run `planner WORDS`: what it said on either stream."""
    ran = in_process(*words)
    return ran.out + ran.err


def fill(path: Path, filled: dict[str, str]) -> None:
    """Fill in the last entry of a file, which is the one begun."""
    head, mark, tail = path.read_text().rpartition("crowded-angle")
    for key, line in filled.items():
        tail, count = re.subn(rf"(?m)^( *){key}.*$", rf"\1{line}", tail, count=1)
        assert count == 1, key
    path.write_text(head + mark + tail)


def test_a_factor_is_begun_filled_in_and_assessed(rules: Path, tmp_path: Path) -> None:
    before = (rules / "factors/pressure-and-chamber.yaml").read_text()
    run("rules", "new", "factor", "crowded-angle", "--in", "pressure-and-chamber", "--rules", rules)
    assert (rules / "factors/pressure-and-chamber.yaml").read_text().startswith(before), "nothing else is touched"

    named = re.findall(r"pressure-and-chamber\.yaml:\d+: `([\w.]+)`", run("rules", "check", "--rules", rules))
    empty = ["label", "when", "because", "harm", "misleads_when", "limits_basis", "review.due"]
    assert named == empty
    fill(rules / "factors/pressure-and-chamber.yaml", FILLED)

    found = run("rules", "check", "--rules", rules)
    for how in ("holds", "does_not_hold", "unknown"):
        assert f"crowded-angle has no case under `{how}:`" in found
    assert "crowded-angle: no cases show that anterior_chamber_depth_mm decides at 2.29, 2.3, 2.31" in found
    assert found.count("crowded-angle") == len(re.findall("pressure-and-chamber.cases.yaml:", found)) == 4
    fill(rules / "factors/pressure-and-chamber.cases.yaml", CASES)

    assert "98 factors" in run("rules", "check", "--rules", rules)
    (tmp_path / "case.yaml").write_text(CASE)
    factors = json.loads(run("assess", tmp_path / "case.yaml", "--rules", rules, "--json"))["factors"]
    assert [f["state"] for f in factors if f["id"] == "crowded-angle"] == ["holds"]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_begun_is_yaml_and_only_its_own_keys_are_faults(kind: str, rules: Path) -> None:
    name = "invented_finding" if kind == "finding" else "invented-entry"
    for path, text in begin(rules, kind, name).items():
        data = yaml.safe_load(text)
        entries = [entry for listed in data.values() for entry in listed if isinstance(entry, dict)]
        assert [entry for entry in entries if name in (entry.get("id"), entry.get("of"))], "in a list of the file"
        path.write_text(text)
    faults = check(rules).faults
    assert faults and all("is empty" in str(fault) or "None" in str(fault) for fault in faults)
    with pytest.raises(PlannerError, match="is here already"):
        begin(rules, kind, name)


@pytest.mark.parametrize(
    "kind,name,file,says",
    [
        ("factor", "white-lens", None, r"factors/lens.yaml:5: the id 'white-lens' is here already"),
        ("factor", "wound-burn", None, r"drills/.*: the id 'wound-burn' is here already"),
        ("factor", "White-Lens", None, "'White-Lens' is no id of a factor"),
        ("factor", "white_lens_2", None, "is no id of a factor"),
        ("finding", "white-lens", None, "is no id of a finding"),
        ("factor", "invented", "../elsewhere", "'../elsewhere' cannot be its file"),
        ("caution", "invented", "lens", r"every caution stands in cautions.yaml"),
    ],
)
def test_what_is_refused(kind: str, name: str, file: str | None, says: str, rules: Path) -> None:
    with pytest.raises(PlannerError, match=says):
        begin(rules, kind, name, file)


def test_the_rules_of_an_installation_and_a_folder_of_none_are_refused(
    rules: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(PlannerError, match="is no rulebook"):
        begin(tmp_path, "factor", "invented")
    monkeypatch.setattr("planner.rulebook.scaffold.PACKAGE", tmp_path)
    with pytest.raises(PlannerError, match="they come with the installed program"):
        begin(rules, "factor", "invented")
    assert installation.PACKAGE.name == "planner", "where a wheel carries them"
    assert "invented" not in load(rules).factors
