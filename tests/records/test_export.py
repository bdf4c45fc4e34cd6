"""The export: all that was entered, in files that other programs read, every column named."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from invented_unit import document

from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, read_cases
from planner.records import schema
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_each_table_is_there_twice_with_the_same_rows(story: Store, tmp_path: Path) -> None:
    count = story.export(tmp_path / "out")
    total = 0
    for table in schema.PROTECTED:
        cells = rows(tmp_path / "out" / f"{table.name}.csv")
        objects = json.loads((tmp_path / "out" / f"{table.name}.json").read_text())
        assert cells and len(cells) == len(objects)
        assert list(cells[0]) == [column.name for column in table.columns]
        assert set(objects[0]) == set(cells[0])
        total += len(cells)
    assert count == total
    [version, _] = json.loads((tmp_path / "out" / "case_versions.json").read_text())
    assert version["document"] == document()


def test_the_readme_names_every_file_and_column(story: Store, tmp_path: Path) -> None:
    story.export(tmp_path / "out")
    text = (tmp_path / "out" / "README.md").read_text()
    for path in (tmp_path / "out").glob("*.csv"):
        assert path.stem in text
    for table in schema.PROTECTED:
        section = text.split(f"## {table.name}\n")[1].split("\n## ")[0]
        for column in table.columns:
            [line] = [line for line in section.splitlines() if line.startswith(f"| {column.name} |")]
            assert len(line.split("|")[2].strip()) > 5, line


def test_the_cases_as_they_stand_are_read_by_the_program_again(
    store: Store, tmp_path: Path, rulebook: Rulebook
) -> None:
    store.new_case(document(alpha_blocker_ever=["tamsulosin", "other"], spherical_equivalent_d=-2.5), "trainee-3")
    other = store.new_case(document("A-105", "left", phacodonesis="not-recorded", iop_mmhg="18"), "trainee-3")
    store.save_case(other.case_id, 1, {"iop_mmhg": 21}, "trainee-3")
    store.export(tmp_path / "out")
    read = list(read_cases(str(tmp_path / "out" / "cases-now.csv"), rulebook.vocabulary))
    assert all(isinstance(one, ReadCase) for one in read)
    first, second = (one.case for one in read if isinstance(one, ReadCase))
    assert (first.reference, first.eye, first.patient) == ("A-104", "right", "P-0381")
    assert first.findings["alpha_blocker_ever"] == {"tamsulosin", "other"}
    assert (first.findings["spherical_equivalent_d"], second.findings["iop_mmhg"]) == (-2.5, 21)
    assert "phacodonesis" not in second.findings
    assert first.none_found_in == ("history", "lens")


def test_no_cell_is_a_formula(store: Store, tmp_path: Path) -> None:
    """As the trade's advice on CSV has it (OWASP, CSV Injection): a quote before =, +, -, @, tab and return."""
    version = store.new_case(document(), "trainee-3")
    texts = ["=1+1", "+1 more", "-1 less", "@cell", "=cmd|' /c calc'!A0"]
    for text in texts:
        store.ask(version.case_id, text, "consultant-1")
    store.export(tmp_path / "out")
    assert [row["text"] for row in rows(tmp_path / "out" / "questions.csv")] == [f"'{text}" for text in texts]
    exact = json.loads((tmp_path / "out" / "questions.json").read_text())
    assert [row["text"] for row in exact] == texts


def test_it_writes_over_nothing_and_leaves_nothing_half_done(
    story: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs" / "notes.txt").write_text("kept")
    with pytest.raises(PlannerError, match="is not an empty folder"):
        story.export(tmp_path / "theirs")
    (tmp_path / "empty").mkdir()
    story.export(tmp_path / "empty")
    before = {path.name for path in tmp_path.iterdir()}

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("planner.records.export._write_cases_now", full)
    with pytest.raises(PlannerError, match="cannot be written: No space left"):
        story.export(tmp_path / "full")
    assert {path.name for path in tmp_path.iterdir()} == before
