"""Files of a rulebook that cannot be read, are missing or hold nothing: what the reader is told, and at which line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from broken_rulebooks import CORNEA, ODDS, POINTS, WHEN_LOW, Broken, assert_it_does_not_load, lines

from planner.rulebook.check import check

READING = {
    "a key twice": Broken(
        CORNEA, POINTS, POINTS + "    points: 3\n", "points: 3", ("the key 'points' stands twice", "first on line 7")
    ),
    "a tag": Broken(CORNEA, WHEN_LOW, "when: !!python/name:os.getcwd ''", "os.getcwd", ("is refused", "remove it")),
    "an alias": Broken(
        "tiers.yaml",
        "{tier: 1, at_least: 0, basis: {basis: unit-policy, approver: not yet approved}}",
        "{tier: 1, at_least: 0, basis: &b {basis: unit-policy, approver: *b}}",
        "approver: *b",
        ("an anchor is used again", "write it out"),
    ),
    "a merge key": Broken(CORNEA, POINTS, "    <<: {points: 2}\n", "<<:", ("merge keys", "write it out")),
    "a tab for indentation": Broken(CORNEA, POINTS, "\tpoints: 2\n", "\tpoints", ("not readable YAML", "indentation")),
    "a colon left out": Broken(
        CORNEA, POINTS, "    points 2\n", "    points_basis:", ("not readable YAML", "a missing colon")
    ),
    "a second document": Broken(
        "tiers.yaml", "scale_note:", "---\nscale_note:", "---", ("a second document", "without `---`")
    ),
}


@pytest.mark.parametrize("edit", READING.values(), ids=READING)
def test_what_cannot_be_read(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)


@pytest.mark.parametrize("name", ["tiers.yaml", "supervision.yaml", "steps.yaml"])
def test_a_missing_file(rules: Path, name: str) -> None:
    (rules / name).unlink()
    hint = "copy it from the shipped rulebook"
    assert lines(check(rules)) == [f"rules/{name}: is missing (a rulebook has one); try: {hint}"]


@pytest.mark.parametrize("content", ["", "# only a comment\n", "- a\n- b\n", "text\n"])
def test_a_file_without_keys(rules: Path, content: str) -> None:
    (rules / "tiers.yaml").write_text(content)
    said = "rules/tiers.yaml:1: is empty or not a mapping; try: start it with `key: value` lines"
    assert lines(check(rules)) == [said]


@pytest.mark.parametrize("content", ["cautions:\n", "cautions: []\n", "cautions: none\n"])
def test_a_file_without_entries(rules: Path, content: str) -> None:
    (rules / "cautions.yaml").write_text(content)
    hint = "start the file with `cautions:` and `- id: ...` lines"
    assert lines(check(rules)) == [f"rules/cautions.yaml:1: `cautions:` must be a list of entries; try: {hint}"]


def test_a_file_that_is_no_text(rules: Path) -> None:
    (rules / "tiers.yaml").write_bytes(b"\x00\x01\x02")
    (said,) = lines(check(rules))
    assert said.startswith("rules/tiers.yaml: is not a text file")


def test_a_folder_without_files(rules: Path) -> None:
    shutil.rmtree(rules / "drills")
    (rules / "drills").mkdir()
    (said,) = lines(check(rules))
    assert said == f"{rules / 'drills'}: has no .yaml files; try: is this a rulebook's folder?"


def test_no_folder_at_all(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    assert "nowhere: is not there" in lines(check(tmp_path / "nowhere"))[0]
    assert "file: is not a folder" in lines(check(tmp_path / "file"))[0]


def test_a_second_odds_model(rules: Path) -> None:
    text = (rules / ODDS).read_text(encoding="utf-8")
    (rules / "models" / "other.yaml").write_text(text.replace("id: narendran-2009", "id: other", 1), encoding="utf-8")
    (said,) = lines(check(rules))
    line = text[: text.index("kind: odds")].count("\n") + 1
    assert said.startswith(f"rules/models/other.yaml:{line}: a second odds model, other (first at rules/{ODDS}:{line}")
    assert "published odds are never mixed); try: keep one" in said


def test_no_odds_model(rules: Path) -> None:
    (rules / ODDS).unlink()
    (said,) = lines(check(rules))
    assert said == f"{rules / 'models'}: holds no odds model (tier and probability rest on one); try: kind: odds"
