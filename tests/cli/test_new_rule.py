"""A list rule begun as a newcomer would in a copy of the checkout: its test fails until the rule is written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from planner.errors import PlannerError
from planner.lists.rules.scaffold import begun

ROOT = Path(__file__).resolve().parents[2]
ID, WORDS = "strong-lenses", "strong lenses lie in room one"
JUDGE = '''@rule("strong lenses lie in room one", "case.lens_power", scope="case")
def strong_lenses(week: Week) -> Iterator[Broken]:
    """No lens of 25 D or more in another session than the first."""
    for placing in week.lists.placings:
        if (week.case(placing).lens_power or 0) >= 25 and placing.session != "one":
            yield strong_lenses.broken(placing, "{at}: a strong lens.", "Move it to room one.")
'''
MATCHES = """
from lists.small_weeks import eye, session, week
from planner.lists.matching.match import match
from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES

powers = {"A": 21, "B": 28, "C": 21, "D": 28}
instance = week([eye(name, lens_power=power) for name, power in powers.items()], [session("two"), session("one")])
found = match(instance)
print(RULES.ids[-1], len(found.lists.placings), check(instance, found.lists).stands)
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    for name in ("planner", "tests/lists"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("README.md", "pyproject.toml", "tests/conftest.py", "tests/seeds.py"):
        shutil.copy(ROOT / name, tmp_path / name)
    for name in ("rules", "templates", "demo_cases"):
        (tmp_path / name).symlink_to(ROOT / name)
    return tmp_path


def run(checkout: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONPATH": f"{checkout}:{checkout / 'tests'}", "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-P", *arguments]
    return subprocess.run(command, cwd=checkout, env=environment, capture_output=True, text=True, check=False)


def its_tests(checkout: Path) -> subprocess.CompletedProcess[str]:
    only = WORDS.replace(" ", " and ")
    return run(checkout, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/lists/test_checker.py", "-k", only)


def changed(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.long
def test_a_newcomer_begins_and_writes_a_rule(checkout: Path) -> None:
    made = run(checkout, "-m", "planner", "lists", "new-rule", ID, WORDS, "--about", "sessions")
    assert made.returncode == 0 and made.stdout.count("wrote ") == 4, made.stderr
    assert f"| `{ID}` | Strong lenses lie in room one. Not judged yet. |" in (checkout / "README.md").read_text()
    assert its_tests(checkout).returncode == 1  # nothing breaks it as yet
    module, weeks = checkout / "planner/lists/rules/sessions.py", checkout / "tests/lists/test_checker.py"
    stub = f'@rule("{WORDS}")\ndef strong_lenses(week: Week) -> Iterator[Broken]:\n    """Not judged yet."""\n'
    changed(module, f"{stub}    yield from ()\n", JUDGE)
    week = 'week([eye("A")]),\n        lists("one: A late consultant"),\n        "strong-lenses"'
    changed(weeks, week, week.replace('eye("A")', 'eye("A", lens_power=28)], [session("two")').replace("one:", "two:"))
    passed = its_tests(checkout)
    assert passed.returncode == 0, passed.stdout
    matched = run(checkout, "-c", MATCHES)
    assert matched.stdout.split() == [ID, "4", "True"], matched.stderr
    again = run(checkout, "-m", "planner", "lists", "new-rule", ID, WORDS)
    assert again.returncode == 1 and f"there is a rule '{ID}': {WORDS}" in again.stderr


@pytest.mark.parametrize(
    ("rule", "words", "about", "says"),
    [
        ("Strong_Lenses", WORDS, "patient", "no id of a rule"),
        ("strong--lenses", WORDS, "patient", "no id of a rule"),
        ("kit-sets", WORDS, "sessions", "there is a rule 'kit-sets'"),
        ("limits-of", WORDS, "sessions", "limits_of means something else in sessions.py"),
        ("class", WORDS, "sessions", "class means something else"),
        ("strong-lenses", 'say "no"', "eyes", "cannot stand in a table"),
        ("strong-lenses", "", "eyes", "cannot stand in a table"),
        ("strong-lenses", WORDS, "lenses", "one of patient, eyes, people, sessions"),
    ],
)
def test_what_cannot_be_a_rule_is_refused(rule: str, words: str, about: str, says: str) -> None:
    with pytest.raises(PlannerError, match=says):
        begun(rule, words, about, ROOT)


def test_an_installed_package_has_no_place_for_a_rule(tmp_path: Path) -> None:
    with pytest.raises(PlannerError, match="there is no checkout here"):
        begun(ID, WORDS, "eyes", tmp_path)


def test_a_text_that_was_changed_since_is_not_guessed_at(checkout: Path) -> None:
    (checkout / "README.md").write_text("Nothing.\n")
    with pytest.raises(PlannerError, match=r"no place for the rule in this file"):
        begun(ID, WORDS, "eyes", checkout)
