"""For other programs: what they get is what the commands print, and what they may do wrong is told them whole."""

from __future__ import annotations

import datetime
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from api import as_used
from commands import in_process
from seeds import some_of

import planner
from planner.rulebook.rulebook import Rulebook

ROOT = Path(__file__).parent.parent
CASES = ROOT / "demo_cases" / "cases"
UNIT = ROOT / "demo_cases" / "unit.yaml"
SOME = some_of(["tense-white", "half-filled", "kit-lacking", "every-limit-left"], "half-filled")


def command(*words: object) -> str:
    ran = in_process(*words)
    assert ran.code == 0, ran.err
    return ran.out


def test_the_readme_lines_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    [code] = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.S)
    monkeypatch.chdir(tmp_path)
    exec(code.replace("demo_cases/", f"{ROOT}/demo_cases/"), {})
    assert Path("plan.pdf").read_bytes().startswith(b"%PDF")


def test_a_typed_program_plans_a_case(tmp_path: Path) -> None:
    tier, state = as_used.plan_one(CASES / "tense-white.yaml", UNIT, tmp_path / "plan.pdf")
    assert (tier, state) == (3, "ready")
    assert (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF")
    assert [path.name for path in tmp_path.iterdir()] == ["plan.pdf"]


@pytest.mark.parametrize("name", SOME)
def test_what_programs_get_is_what_commands_print(name: str, rulebook: Rulebook, tmp_path: Path) -> None:
    path = CASES / f"{name}.yaml"
    case = planner.load_case(path, rulebook)
    assessed = planner.assess_case(case, rulebook, UNIT).as_json()
    made = planner.make_plan(case, rulebook, unit=str(UNIT), stage="early")
    assert json.loads(command("assess", path, "--unit", UNIT, "--json")) == assessed
    plan = command("plan", path, "--unit", UNIT, "--stage", "early", "--format", "json")
    assert json.loads(plan) == made.as_json()
    assert made.as_json()["assessment"]["readiness"] == assessed["readiness"]
    for form, printed in (("pdf", made.pdf()), ("html", made.html()), ("txt", made.text().encode() + b"\n")):
        target = tmp_path / f"plan.{form}"
        command("plan", path, "--unit", UNIT, "--stage", "early", "-o", target)
        assert target.read_bytes().rstrip() == printed.rstrip(), form


def test_a_mapping_is_read_as_a_file_is(rulebook: Rulebook) -> None:
    findings = {"age_years": 71, "sex": "female", "only_seeing_eye": True, "iop_mmhg": None, "can_lie_flat": "yes"}
    findings |= {"alpha_blocker_ever": ["tamsulosin"], "iop_date": datetime.date(2026, 11, 2)}
    case = planner.load_case({"case": "A-1", "eye": "left", "findings": findings}, rulebook)
    assert case.findings == {
        "age_years": 71, "sex": "female", "only_seeing_eye": True, "can_lie_flat": True,
        "alpha_blocker_ever": frozenset({"tamsulosin"}), "iop_date": datetime.date(2026, 11, 2),
    }  # fmt: skip
    assert planner.assess_case(case, rulebook).tier.most == 4  # an only eye is a consultant's


def test_every_fault_is_named() -> None:
    faults = as_used.faults_of({"case": "A-1", "eye": "up", "findings": {"age_years": 7, "foo": 1}})
    for words, fault in zip(("'up' is not an eye", "7 is below 18 years", "no finding 'foo'"), faults, strict=True):
        assert words in fault


def test_what_cannot_be_taken_is_refused(rulebook: Rulebook, tmp_path: Path) -> None:
    case = planner.load_case(CASES / "routine.yaml", rulebook)
    refusals = {
        "cases where one is wanted": lambda: planner.load_case(ROOT / "demo_cases" / "list.csv", rulebook),
        "cannot be read": lambda: planner.load_case(tmp_path / "nothing.yaml", rulebook),
        "is not a stage": lambda: planner.make_plan(case, rulebook, stage="beginner"),
        "is not there": lambda: planner.load_rulebook(tmp_path / "nothing"),
        "cannot be written": lambda: planner.make_plan(case, rulebook).pdf(tmp_path / "nowhere" / "plan.pdf"),
    }
    for words, asked in refusals.items():
        with pytest.raises(planner.PlannerError, match=words):
            asked()


def test_importing_loads_nothing() -> None:
    code = "import sys, planner; print(sorted(name for name in sys.modules if name.startswith('planner.')))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "[]\n"


def test_the_package_says_that_it_is_typed() -> None:
    assert (Path(planner.__file__).parent / "py.typed").is_file()
    assert set(planner.__all__) <= set(dir(planner)) | {name for name in planner.__all__ if getattr(planner, name)}
