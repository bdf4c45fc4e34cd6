"""Many cases at once: bad rows set aside with the reason, the rest finished, progress told."""

from __future__ import annotations

import csv
import json
import os
import pty
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, case_text, files, table

THREE = ({"case": "A-1"}, {"case": "A-2", "axial_length_mm": "235"}, {"case": "A-3", "eye": "left"})


def rows(path: Path, delimiter: str = ",") -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream, delimiter=delimiter))


def test_the_good_rows_are_planned_and_the_bad_one_set_aside(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "list.csv").write_text(table(*THREE))
    ran = planner("plan", "list.csv", "--format", "text", "-o", "out/")
    assert files(folder) == {"list.csv", "out/A-1-right.txt", "out/A-3-left.txt", "out/list.set-aside.csv"}
    first, *others = ran.error.splitlines()
    assert first == "error: 1 of 3 cases set aside, in out/list.set-aside.csv"
    assert len(others) == 1 and others[0].startswith("  list.csv row 3, column axial_length_mm: ")
    assert "2 of 3 cases done" in ran.err
    (row,) = rows(folder / "out/list.set-aside.csv")
    assert row["case"] == "A-2" and row["axial_length_mm"] == "235"
    assert "row 3, column axial_length_mm" in row["why"]


def test_what_was_set_aside_can_be_corrected_and_given_again(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "list.csv").write_text(table(*THREE, separator=";").replace(".", ","))
    assert planner("assess", "list.csv").code == 1
    aside = folder / "list.set-aside.csv"
    aside.write_text(aside.read_text().replace("235", "23,5"))
    ran = planner("assess", aside.name, "--json")
    assert ran.code == 0
    assert json.loads(ran.out)["case"] == "A-2"


def test_json_is_one_object_a_line_in_order(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "list.csv").write_text(table(*THREE))
    for command in (["assess", "--json"], ["plan", "--format", "json"]):
        ran = planner(*command, "list.csv")
        found = [json.loads(line) for line in ran.out.splitlines()]
        cases = [entry.get("assessment", entry)["case"] for entry in found]
        assert cases == ["A-1", "A-3"]
        assert "1 of 3 cases set aside, in list.set-aside.csv" in ran.error


def test_several_files_are_a_batch_and_a_bad_one_names_itself(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "a.yaml").write_text(case_text())
    (folder / "b.yaml").write_text(case_text(axial_length_mm="235").replace("A-1", "A-2"))
    (folder / "c.json").write_text('{"case": "A-3"')
    (folder / "d.yaml").write_text(case_text().replace("A-1", "A-4"))
    ran = planner("plan", "a.yaml", "b.yaml", "c.json", "missing.yaml", "d.yaml", "--format", "text", "-o", "out/")
    first, *others = ran.error.splitlines()
    assert first == "error: 3 of 5 cases set aside"
    assert {other.split(":")[0].strip() for other in others} == {"b.yaml", "c.json", "missing.yaml"}
    assert files(folder / "out") == {"A-1-right.txt", "A-4-right.txt"}


def test_bad_members_of_a_json_list_are_set_aside_by_line(planner: Callable[..., Ran], folder: Path) -> None:
    good = '{"case": "A-1", "eye": "left", "findings": {"can_lie_flat": false}}'
    (folder / "cases.jsonl").write_text(f'{good}\n{{"case": "A-2", "eye": "both"}}\n{{"case": \n[5]\n')
    assert planner("assess", "cases.jsonl", "--json").code == 1
    lines = [json.loads(line) for line in (folder / "cases.set-aside.jsonl").read_text().splitlines()]
    assert [sorted(line) for line in lines] == [["case", "eye", "why"], ["text", "why"], ["value", "why"]]
    aside = folder / "cases.set-aside.jsonl"
    aside.write_text(aside.read_text().splitlines()[0].replace("both", "right") + "\n")
    assert json.loads(planner("assess", aside.name, "--json").out)["eye"] == "right"


def test_one_eye_twice_is_done_once(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "a.csv").write_text(table({"case": "A-1"}, {"case": "A-1"}))
    (folder / "b.yaml").write_text(case_text())
    ran = planner("plan", "a.csv", "b.yaml", "--format", "text", "-o", "out/")
    first, *others = ran.error.splitlines()
    assert first == "error: 2 of 3 cases set aside, in out/a.set-aside.csv"
    assert all("a second case A-1, right eye (first at a.csv row 2)" in other for other in others)


def test_references_that_would_share_a_file_are_set_aside(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "list.csv").write_text(table({"case": "A/1"}, {"case": "a-1"}, {"case": "A-1", "eye": "left"}))
    ran = planner("plan", "list.csv", "--format", "text", "-o", "out/")
    assert "list.csv row 3: two cases share one file name ('A/1' and 'a-1' would both be a-1-right.txt)" in ran.error
    assert files(folder / "out") == {"A-1-right.txt", "A-1-left.txt", "list.set-aside.csv"}


def test_a_file_of_what_was_set_aside_never_replaces_an_input_or_another(
    planner: Callable[..., Ran], folder: Path
) -> None:
    for name in ("list.csv", "more/list.csv", "list.set-aside.csv"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(table({"case": name.replace("/", "")}, {"case": "bad", "axial_length_mm": "235"}))
    before = (folder / "list.set-aside.csv").read_text()
    assert planner("assess", "list.csv", "more/list.csv", "list.set-aside.csv").code == 1
    assert (folder / "list.set-aside.csv").read_text() == before
    assert files(folder) >= {"list.set-aside-2.csv", "list.set-aside-3.csv", "list.set-aside.set-aside.csv"}


def test_a_long_list_of_faults_is_cut_short_on_the_screen_only(planner: Callable[..., Ran], folder: Path) -> None:
    bad = [{"case": f"A-{n}", "axial_length_mm": "235"} for n in range(100)]
    (folder / "list.csv").write_text(table(*bad))
    error = planner("assess", "list.csv").error
    assert len(error.splitlines()) == 22 and error.endswith("and 80 faults more")
    assert len(rows(folder / "list.set-aside.csv")) == 100


@pytest.mark.parametrize("output", [[], ["-o", "plan.pdf"], ["-o", "plans"]])
def test_many_cases_need_a_folder(output: list[str], planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "list.csv").write_text(table({"case": "A-1"}, {"case": "A-2"}))
    assert "-o " in planner("plan", "list.csv", *output).error
    assert files(folder) == {"list.csv"}


def test_a_table_of_one_case_is_one_case(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "one.csv").write_text(table({"case": "A-1"}))
    assert planner("plan", "one.csv", "-o", "plan.txt").code == 0
    assert files(folder) == {"one.csv", "plan.txt"}


def test_progress_counts_on_a_terminal_and_ends_in_a_line(folder: Path, process: Callable[..., object]) -> None:
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(1, 400))))
    try:
        ours, theirs = pty.openpty()
    except OSError as error:
        pytest.skip(f"this machine has no terminals to lend: {error}")
    started = process("assess", "list.csv", "--json", stderr=theirs)
    os.close(theirs)
    out, _ = started.communicate(timeout=120)  # type: ignore[attr-defined]
    told = os.read(ours, 100_000).decode()
    os.close(ours)
    assert len(out.splitlines()) == 399
    assert "\r" in told and told.rstrip().endswith("399 of 399 cases done")
