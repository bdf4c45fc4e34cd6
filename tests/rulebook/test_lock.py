"""A version of the rulebook stands for one content: what the lock notices, what it refuses, and how it is renewed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import in_process
from seeds import one_in

from planner.rulebook.load import load
from planner.rulebook.lock import kind_of_step, standing
from planner.shipped import rules_folder

LIMIT = ("factors/zonule-and-pupil.yaml", "less_than: 5.0}", "less_than: 5.5}")


def edit(rules: Path, file: str, old: str, new: str) -> None:
    text = (rules / file).read_text(encoding="utf-8")
    assert old in text
    (rules / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def raise_version(rules: Path, version: str) -> None:
    edit(rules, "rulebook.yaml", f"version: {load(rules).header.version}\n", f"version: {version}\n")


def describe(rules: Path, version: str) -> None:
    edit(rules, "CHANGELOG.md", "\n## ", f"\n## {version}, an invented change\n\nSomething.\n\n## ")


@pytest.fixture
def lock(rules: Path) -> Callable[..., tuple[int, str]]:
    """Run `planner rules lock` on the copy: its code, and what it said on either stream."""

    def run(*arguments: str) -> tuple[int, str]:
        ran = in_process("rules", "lock", "--rules", rules, *arguments)
        return ran.code, ran.out + ran.err

    return run


def test_the_shipped_rulebook_is_locked_as_it_stands() -> None:
    """When this fails: raise the version in rules/rulebook.yaml, say what changed in rules/CHANGELOG.md, and lock."""
    assert list(map(str, standing(load(rules_folder()), rules_folder()))) == []


def test_the_lock_holds_the_hash_of_each_file_that_counts(rules: Path) -> None:
    held = json.loads((rules / "lock.json").read_text())
    counted = {
        path.relative_to(rules).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in rules.rglob("*.yaml")
        if not path.name.endswith(".cases.yaml")
    }
    assert held["files"] == counted
    assert held["sha256"] == load(rules).sha256


@pytest.mark.parametrize("file", one_in(2, ["README.md", "CHANGELOG.md", "factors/lens.cases.yaml", "notes.yaml"]))
def test_what_decides_nothing_may_change_under_one_version(rules: Path, file: str, lock: Callable) -> None:
    with (rules / file).open("a") as stream:
        stream.write("# a remark\n")
    code, said = lock("--check")
    assert (code, "as locked" in said) == (0, True), said


def test_a_changed_limit_without_a_new_version_is_refused(rules: Path, lock: Callable) -> None:
    before, version = (rules / "lock.json").read_bytes(), load(rules).header.version
    edit(rules, *LIMIT)
    for arguments in (["--check"], []):
        code, said = lock(*arguments)
        assert code == 1 and said.startswith("error: rules/rulebook.yaml:2: "), said
        assert f"{version} is locked with other content: {LIMIT[0]} " in said
        assert "raise the version, say what changed in CHANGELOG.md, then planner rules lock" in said
    assert (rules / "lock.json").read_bytes() == before


@pytest.mark.parametrize(
    "version,says",
    [
        ("99.0.0", "has no heading for 99.0.0"),
        pytest.param("0.0.9", "0.0.9 is lower than the last", marks=pytest.mark.long),
        pytest.param("1.0", "'1.0' is no version", marks=pytest.mark.long),
    ],
)
def test_versions_that_cannot_be_locked(rules: Path, version: str, says: str, lock: Callable) -> None:
    edit(rules, *LIMIT)
    raise_version(rules, version)
    for arguments in (["--check"], []):
        code, said = lock(*arguments)
        assert code == 1 and says in said, said


def test_a_new_version_is_locked_once_it_is_described(rules: Path, lock: Callable) -> None:
    edit(rules, *LIMIT)
    raise_version(rules, "99.0.0")
    describe(rules, "99.0.0")
    code, said = lock("--check")
    assert code == 1 and f"changed since: {LIMIT[0]}, rulebook.yaml" in said, said
    code, said = lock()
    assert code == 0 and "99.0.0" in said and "locked, major after" in said, said
    assert lock("--check")[0] == 0
    assert json.loads((rules / "lock.json").read_text())["version"] == "99.0.0"


def test_files_that_come_and_go_are_named(rules: Path, lock: Callable) -> None:
    (rules / "drills" / "capsule.yaml").rename(rules / "drills" / "capsules.yaml")
    code, said = lock("--check")
    assert code == 1 and "drills/capsule.yaml gone, drills/capsules.yaml new" in said, said


@pytest.mark.parametrize(
    "content", one_in(3, ["", "{", "[]", '{"id": "x"}', '{"id": 1, "version": 2, "sha256": 3, "files": 4}'])
)
def test_what_is_no_lock_is_refused(rules: Path, content: str, lock: Callable) -> None:
    (rules / "lock.json").write_text(content)
    code, said = lock("--check")
    assert code == 1 and "lock.json: is not a lock" in said and "Traceback" not in said, said


def test_a_rulebook_without_a_lock_says_how_to_get_one(rules: Path, lock: Callable) -> None:
    (rules / "lock.json").unlink()
    code, said = lock("--check")
    assert code == 1 and "is not locked" in said and f"try: planner rules lock --rules {rules}" in said
    assert lock()[0] == 0 and lock("--check")[0] == 0


@pytest.mark.parametrize(
    "old,new,kind",
    [
        ("0.1.0", "1.0.0", "major"),
        ("1.2.3", "1.3.0", "minor"),
        ("1.2.3", "1.2.10", "patch"),
        ("1.2.3", "1.2.3", None),
        ("1.10.0", "1.9.9", None),
        ("1.2", "1.3.0", None),
    ],
)
def test_kinds_of_step(old: str, new: str, kind: str | None) -> None:
    """As semantic versioning orders and names them (semver.org 2.0.0, items 6 to 8 and 11)."""
    assert kind_of_step(old, new) == kind
