"""Bad input through the real command: one message that says what, where and what to try; exit 1; nothing written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Ran, case_text, files

BOMB = "a: &a [lol, lol]\n" + "".join(
    f"{b}: &{b} [*{a}, *{a}, *{a}]\n" for a, b in zip("abcdefg", "bcdefgh", strict=True)
)
WITHOUT_EYE = case_text().replace("eye: right\n", "")

# What a file holds, the words of the refusal, and what it says to try.
YAML: dict[str, tuple[str | bytes, str, str]] = {
    "unknown finding": (
        case_text(axial_lenght_mm="23"),
        "case.yaml:31: no finding 'axial_lenght_mm'",
        "axial_length_mm?",
    ),
    "wrong magnitude": (
        case_text(axial_length_mm="235"),
        "case.yaml:14: axial_length_mm: 235 is outside",
        "23.5 meant?",
    ),
    "outside what is possible": (
        case_text(dilated_pupil_mm="0.1"),
        "dilated_pupil_mm: 0.1 is outside",
        "possible range",
    ),
    "impossible together": (
        case_text(opacity="total-white", red_reflex="none"),
        "cannot stand together: fundus_view: clear, opacity: total-white",
        "correct the one that is wrong",
    ),
    "an empty file": ("", "case.yaml: is empty", "planner intake"),
    "comments alone": ("# nothing\n", "case.yaml:1: holds no case", "planner intake"),
    "a binary file": (bytes(range(256)) * 50, "case.yaml: is not a text file", "right file"),
    "another encoding": (
        case_text(biometry_reference="\u00e9").encode("latin-1"),
        "case.yaml:28: is not UTF-8",
        "UTF-8",
    ),
    "no side": (WITHOUT_EYE, "the eye is missing", "eye: right, or eye: left"),
    "both eyes": (WITHOUT_EYE + "eye: [right, left]\n", "both eyes in one case", "two cases"),
    "both eyes twice": (case_text() + "eye: left\n", "the key 'eye' stands twice", "keep one"),
    "NaN": (case_text(iop_mmhg=".nan"), "iop_mmhg: '.nan' is not a measurement", "0 to "),
    "infinity": (case_text(iop_mmhg=".inf"), "iop_mmhg: '.inf' is not a measurement", "0 to "),
    "a hostile tag": ('!!python/object/apply:os.system ["touch hacked"]\n', "case.yaml:1: the tag", "remove it"),
    "a hostile tag inside": (case_text(sex="!!python/name:os.system"), "case.yaml:8: the tag", "remove it"),
    "an alias bomb": (BOMB, "an anchor is used again", "write it out"),
    "deep nesting": ("case: " + "[" * 500 + "]" * 500, "is nested too deeply", "more than 40 levels"),
    "two documents": (case_text() + "---\n" + case_text(), "holds a second document", "one file for each"),
    "a tab": ("case: A\n\teye: left\n", "case.yaml:2: is not readable YAML", "indentation"),
    "a mere list": ("- a\n- b\n", "holds no case", "planner intake"),
    "an unknown heading": (
        case_text() + "examined: t\n",
        "case.yaml:31: unknown heading 'examined'",
        "did you mean examined_by?",
    ),
    "an unknown section": (case_text().replace("outer-eye", "outer-eyes"), "no section 'outer-eyes'", "outer-eye?"),
    "NA": (case_text(fundus_view="NA"), "'NA' does not say whether it was looked for", "not-recorded"),
}
JSON: dict[str, tuple[str | bytes, str, str]] = {
    "NaN": ('{"case": "A", "eye": "left", "findings": {"iop_mmhg": NaN}}', "case.json: holds NaN", "not-recorded"),
    "infinity": ('{"case": "A", "eye": "left", "findings": {"iop_mmhg": 1e999}}', "inf is not a measurement", "0 to "),
    "broken": ('{"case": "A", "eye": ', "case.json: is not JSON", "a bracket"),
    "a repeated key": ('{"case": "A", "eye": "left", "eye": "right"}', "'eye' stands twice", "keep one"),
    "deep nesting": ("[" * 100_000, "case.json: is nested too deeply", "two levels"),
}
CSV: dict[str, tuple[str | bytes, str, str]] = {
    "a wrong magnitude": (
        "case,eye,axial_length_mm\nA,left,235\n",
        "case.csv row 2, column axial_length_mm: ",
        "23.5 meant?",
    ),
    "a stray column": (
        "case,eye,axial_lenght_mm\nA,left,23\n",
        "case.csv row 1, column axial_lenght_mm: ",
        "axial_length_mm?",
    ),
    "a split decimal comma": ("case,eye,iop_mmhg,sex\nA,left,15,5,male\n", "case.csv row 2, column iop_mmhg: ", "2,3"),
    "a header alone": ("case,eye\n", "case.csv: has a header and no rows", "one row for each case"),
    "an open quote": ('case,eye\n"A,left\n', "case.csv row 2: ", "twice"),
    "a spreadsheet": (b"PK\x03\x04" + bytes(99), "case.csv: is a spreadsheet or an archive", "CSV (UTF-8)"),
}
KINDS = [
    pytest.param(f"case.{ending}", *kind, id=f"{ending}: {name}")
    for ending, kinds in (("yaml", YAML), ("json", JSON), ("csv", CSV))
    for name, kind in kinds.items()
]


@pytest.mark.parametrize("name, content, what, hint", KINDS)
def test_one_clear_error_and_nothing_written(
    name: str, content: str | bytes, what: str, hint: str, planner: Callable[..., Ran], folder: Path
) -> None:
    (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    ran = planner("plan", name, "-o", "plan.pdf")
    assert what in ran.error and hint in ran.error, ran.error
    assert len(ran.error.splitlines()) == 1, ran.error
    assert ran.out == ""
    assert files(folder) == {name}


@pytest.mark.parametrize(
    "command", [["assess"], ["assess", "--json"], ["plan"], ["explain", "why", "tier"], ["explain", "if", "sex=male"]]
)
def test_every_command_refuses_alike(command: list[str], planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(axial_length_mm="235"))
    assert "case.yaml:14: axial_length_mm: 235" in planner(*command, "case.yaml").error
    assert "missing.yaml: cannot be read: No such file" in planner(*command, "missing.yaml").error
    assert "is a folder" in planner(*command, folder).error
    assert files(folder) == {"case.yaml"}


def test_all_faults_of_a_case_are_lines_of_one_message(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(WITHOUT_EYE + "  axial_lenght_mm: 23\n  cortex: tense\n")
    lines = planner("plan", "case.yaml").error.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("error: case.yaml") and all(line.startswith("  case.yaml:") for line in lines[1:])


@pytest.mark.parametrize("name", ["case.yaml", "case.json", "case.csv"])
def test_a_100_mb_file_is_refused(name: str, planner: Callable[..., Ran], folder: Path) -> None:
    with (folder / name).open("wb") as stream:
        stream.truncate(100_000_000)
    assert f"{name}: is larger than" in planner("plan", name).error
    assert files(folder) == {name}


def test_an_unremarkable_case_is_none_of_these(planner: Callable[..., Ran], folder: Path) -> None:
    """Without this the refusals above could all be of the routine case they vary."""
    (folder / "case.yaml").write_text(case_text())
    assert planner("plan", "case.yaml", "-o", "plan.txt").code == 0
    assert files(folder) == {"case.yaml", "plan.txt"}


def test_the_merely_odd_is_kept_and_queried(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(axial_length_mm="34"))
    ran = planner("assess", "case.yaml")
    assert ran.code == 0
    assert "Axial length 34 mm is outside the usual" in ran.out


def test_html_in_free_text_stays_text(planner: Callable[..., Ran], folder: Path) -> None:
    hostile = "'<script>alert(1)</script><img src=x onerror=alert(1)>'"
    (folder / "case.yaml").write_text(case_text(biometry_reference=hostile).replace("A-1", "<b>A</b>"))
    ran = planner("plan", "case.yaml", "--format", "html")
    assert ran.code == 0
    assert "<script>alert" not in ran.out and "<img src=x" not in ran.out and "<b>A</b>" not in ran.out
    assert "&lt;script&gt;" in ran.out and "&lt;b&gt;A&lt;/b&gt;" in ran.out


@pytest.mark.parametrize(
    "options, words",
    [
        (["--rules", "nowhere"], "nowhere: is not there"),
        (["--rules", "case.yaml"], "case.yaml: is not a folder"),
        (["--rules", "."], "rulebook.yaml: is missing"),
        (["--unit", "nowhere.yaml"], "nowhere.yaml: cannot be read: No such file"),
        (["--unit", "case.yaml"], "case.yaml:"),
        (["--unit", "unit.yaml", "--trainee", "nobody"], "no trainee 'nobody'"),
    ],
)
def test_a_bad_unit_or_rulebook_is_said(
    options: list[str], words: str, planner: Callable[..., Ran], folder: Path
) -> None:
    (folder / "case.yaml").write_text(case_text())
    (folder / "unit.yaml").write_text("unit: Invented\n")
    assert words in planner("plan", "case.yaml", *options).error
    assert files(folder) == {"case.yaml", "unit.yaml"}


@pytest.mark.parametrize(
    "arguments",
    [
        ["--nonsense"],
        ["plann"],
        ["plan"],
        ["assess"],
        ["plan", "case.yaml", "--format", "docx"],
        ["plan", "case.yaml", "--stage", "senior"],
        ["plan", "case.yaml", "--on", "02/11/2026"],
        ["plan", "case.yaml", "--stage", "late", "--trainee", "t"],
        ["plan", "case.yaml", "--trainee", "t"],
        ["explain", "why", "tier"],
        ["explain", "if", "case.yaml"],
        ["intake", "--nonsense"],
    ],
)
def test_wrong_usage_ends_with_2(arguments: list[str], planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text())
    ran = planner(*arguments)
    assert ran.code == 2
    assert "Traceback" not in ran.err and ran.err
    assert files(folder) == {"case.yaml"}
