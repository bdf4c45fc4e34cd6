"""Files that are none, of another kind, too large, or in JSON: one clear refusal, or the cases."""

from __future__ import annotations

import io
import json
import os
import sys
from pathlib import Path

import pytest

from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, SetAside, read_cases
from planner.rulebook.rulebook import Rulebook

YAML = "case: A\neye: left\nfindings:\n  fundus_view: none\n  can_lie_flat: yes\n"
JSON = '{"case": "A", "eye": "left", "findings": {"fundus_view": "none", "can_lie_flat": true}}'
CSV = "case,eye,fundus_view,can_lie_flat\nA,left,none,yes\n"
FOUND = {"fundus_view": "none", "can_lie_flat": True}


def read(path: Path | str, rulebook: Rulebook) -> list[ReadCase | SetAside]:
    return list(read_cases(str(path), rulebook.vocabulary))


@pytest.mark.parametrize(
    "text", [YAML, "\n# a case\n" + YAML, JSON, json.dumps(json.loads(JSON), indent=2), f"[{JSON}]", CSV]
)
@pytest.mark.parametrize("where", ["standard input", "a file without an ending"])
def test_the_format_is_told_from_the_text(
    text: str, where: str, tmp_path: Path, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    if where == "standard input":
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
        source: Path | str = "-"
    else:
        source = tmp_path / "case"
        source.write_text(text)
    (item,) = read(source, rulebook)
    assert isinstance(item, ReadCase), item
    assert item.case.findings == FOUND


@pytest.mark.parametrize(
    "name, text", [("a.yaml", YAML), ("a.yml", YAML), ("a.json", JSON), ("a.csv", CSV), ("A.CSV", CSV)]
)
def test_fundus_view_none_survives_every_reader(name: str, text: str, tmp_path: Path, rulebook: Rulebook) -> None:
    (tmp_path / name).write_text(text)
    (item,) = read(tmp_path / name, rulebook)
    assert isinstance(item, ReadCase)
    assert item.case.findings["fundus_view"] == "none"


def test_a_json_list_and_one_object_a_line_are_many_cases(tmp_path: Path, rulebook: Rulebook) -> None:
    for name, text in {
        "a.json": f"[{JSON}, {JSON.replace('left', 'right')}]",
        "b.json": f"{JSON}\n\n{JSON.replace('left', 'right')}\n",
        "c.jsonl": f"{JSON}\n{JSON.replace('left', 'right')}",
    }.items():
        (tmp_path / name).write_text(text)
        items = read(tmp_path / name, rulebook)
        assert [item.case.eye for item in items if isinstance(item, ReadCase)] == ["left", "right"], name


def test_a_bad_member_is_set_aside_and_the_rest_read(tmp_path: Path, rulebook: Rulebook) -> None:
    path = tmp_path / "cases.jsonl"
    path.write_text(f'{JSON}\n{{"case": "B", \n[1]\n{{"case": "C", "eye": "both"}}\n{JSON.replace("left", "right")}\n')
    items = read(path, rulebook)
    whys = [item.why.replace(f"{tmp_path}/", "") for item in items if isinstance(item, SetAside)]
    assert len(items) == 5 and len(whys) == 3
    assert whys[0].startswith("cases.jsonl:2: is not JSON")
    assert whys[1].startswith("cases.jsonl:3: holds no case")
    assert whys[2].startswith("cases.jsonl:4, eye: both eyes in one case")


def test_json_null_is_not_recorded_and_numbers_are_numbers(tmp_path: Path, rulebook: Rulebook) -> None:
    path = tmp_path / "case.json"
    numbers = '"age_years": 71, "dilated_pupil_mm": 5.50, "visual_acuity_logmar": 3e-1'
    findings = f'{{{numbers}, "sex": null, "anticoagulant": ["warfarin"]}}'
    path.write_text('{"case": "A", "eye": "left", "findings": ' + findings + "}")
    (item,) = read(path, rulebook)
    assert isinstance(item, ReadCase)
    assert item.case.findings == {
        "age_years": 71.0,
        "dilated_pupil_mm": 5.5,
        "visual_acuity_logmar": 0.3,
        "anticoagulant": frozenset({"warfarin"}),
    }


REFUSED: dict[str, tuple[str, bytes, str]] = {
    "empty YAML": ("a.yaml", b"", "is empty"),
    "empty CSV": ("a.csv", b"\n \n", "is empty"),
    "empty JSON": ("a.json", b"", "is empty"),
    "binary": ("a.yaml", bytes(range(256)), "not a text file"),
    "a picture": ("a.yaml", b"\x89PNG\r\n\x1a\n\x00\x00", "not a text file"),
    "a spreadsheet": ("a.xlsx", b"PK\x03\x04" + bytes(50), "is a spreadsheet or an archive, not text"),
    "a spreadsheet called CSV": ("a.csv", b"PK\x03\x04" + bytes(50), "is a spreadsheet or an archive, not text"),
    "an old spreadsheet": ("a.xls", b"\xd0\xcf\x11\xe0" + bytes(50), "an old spreadsheet"),
    "a PDF": ("a.pdf", b"%PDF-1.7\n", "is a PDF, not text"),
    "another encoding": (
        "a.csv",
        "case;eye;biometry_reference\nA;left;Müller\n".encode("latin-1"),
        "a.csv:2: is not UTF-8",
    ),
    "UTF-16 without its mark": ("a.csv", CSV.encode("utf-16-le"), "not a text file"),
    "half a UTF-16 file": ("a.csv", b"\xff\xfea", "not a text file"),
    "NaN": ("a.json", b'{"case": "A", "eye": "left", "findings": {"iop_mmhg": NaN}}', "holds NaN"),
    "infinity": ("a.json", b'{"case": "A", "eye": "left", "findings": {"iop_mmhg": -Infinity}}', "holds -Infinity"),
    "a repeated key": ("a.json", b'{"case": "A", "case": "B", "eye": "left"}', "'case' stands twice"),
    "deep JSON": ("a.json", b"[" * 100_000, "nested too deeply"),
    "broken JSON": ("a.json", b'{\n"case": "A",\n"eye" "left"}', "a.json:3: is not JSON"),
    "an empty list": ("a.json", b"[]", "is an empty list"),
}


@pytest.mark.parametrize("name, content, words", REFUSED.values(), ids=list(REFUSED))
def test_a_source_that_cannot_be_read_is_refused_once(
    name: str, content: bytes, words: str, tmp_path: Path, rulebook: Rulebook
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(PlannerError) as refused:
        read(tmp_path / name, rulebook)
    assert len(refused.value.faults) == 1
    assert words in str(refused.value) and name in str(refused.value)


def test_numbers_too_large_for_a_machine_are_refused(tmp_path: Path, rulebook: Rulebook) -> None:
    path = tmp_path / "a.json"
    path.write_text('{"case": "A", "eye": "left", "findings": {"iop_mmhg": 1e999, "age_years": ' + "9" * 5000 + "}}")
    (item,) = read(path, rulebook)
    assert isinstance(item, SetAside)
    assert len(item.faults) == 2 and all("inf is not a measurement" in fault.what for fault in item.faults)


@pytest.mark.parametrize("name", ["a.yaml", "a.json", "a.jsonl", "a.csv", "a"])
def test_a_huge_file_is_refused_without_being_read(name: str, tmp_path: Path, rulebook: Rulebook) -> None:
    with (tmp_path / name).open("wb") as stream:
        stream.write(YAML.encode())
        stream.truncate(100_000_000_000)
    with pytest.raises(PlannerError, match="is larger than"):
        read(tmp_path / name, rulebook)


def test_standard_input_is_bounded_too(rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch) -> None:
    with open("/dev/zero", "rb") as endless:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(endless))
        with pytest.raises(PlannerError, match="standard input: is larger than"):
            read("-", rulebook)


def test_what_is_no_file_is_said(tmp_path: Path, rulebook: Rulebook) -> None:
    with pytest.raises(PlannerError, match="is a folder"):
        read(tmp_path, rulebook)
    with pytest.raises(PlannerError, match="No such file"):
        read(tmp_path / "missing.csv", rulebook)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_an_unreadable_file_is_said(tmp_path: Path, rulebook: Rulebook) -> None:
    (tmp_path / "a.yaml").write_text(YAML)
    (tmp_path / "a.yaml").chmod(0)
    with pytest.raises(PlannerError, match="Permission denied"):
        read(tmp_path / "a.yaml", rulebook)
