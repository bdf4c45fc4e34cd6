"""The wheel carries what the program needs, and the locked versions are the ones in use."""

import os
import re
import subprocess
import sys
import zipfile
from importlib.metadata import distribution, version
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from planner import __version__, shipped
from planner.errors import PlannerError

ROOT = Path(__file__).parent.parent
NAME = "cataract-case-planner"


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built and laid out as an installation lays it out."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    [wheel] = folder.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(folder / "site")
    return folder / "site"


def files_in(folder: Path) -> dict[Path, bytes]:
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("folder", ["rules", "templates"])
def test_the_wheel_carries_the_folder_byte_for_byte(unpacked: Path, folder: str) -> None:
    ours = files_in(ROOT / folder)
    assert ours
    assert files_in(unpacked / "planner" / folder) == ours


def test_the_wheel_carries_nothing_beside_the_package(unpacked: Path) -> None:
    assert [path.name for path in unpacked.iterdir() if path.suffix != ".dist-info"] == ["planner"]


def test_an_installed_wheel_reads_its_own_folders_from_anywhere(unpacked: Path, tmp_path: Path) -> None:
    ask = "from planner import shipped; print(shipped.rules_folder()); print(shipped.templates_folder())"
    answer = subprocess.run(
        [sys.executable, "-c", ask],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(unpacked)},
        check=True,
        capture_output=True,
        text=True,
    )
    inside = unpacked.resolve() / "planner"
    assert answer.stdout.split("\n")[:2] == [str(inside / "rules"), str(inside / "templates")]


def test_a_checkout_reads_its_top_folders() -> None:
    assert shipped.rules_folder() == ROOT / "rules"
    assert shipped.templates_folder() == ROOT / "templates"


def test_an_installation_without_its_rules_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shipped, "PACKAGE", tmp_path / "planner")
    with pytest.raises(PlannerError, match="the rules folder is missing"):
        shipped.rules_folder()


def test_every_package_in_use_is_locked_at_the_version_in_use() -> None:
    locked: dict[str, str] = {}
    for line in chain(*(path.read_text().splitlines() for path in (ROOT / ".ci").glob("locked*.txt"))):
        name, pinned, wanted = line.partition("==")
        if pinned:
            locked[canonicalize_name(name)] = wanted
    in_use = {name: version(name) for name in needed_by(NAME, "test", "dev")}
    assert "pydyf" in in_use, "an indirect need is followed"
    assert {name: locked.get(name) for name in in_use} == in_use


def needed_by(name: str, *extras: str) -> set[str]:
    """Return the canonical names of all that `name` with these extras needs here, directly or not."""
    waiting = {(name, extras)}
    seen = set()
    while waiting:
        seen.add(one := waiting.pop())
        name, extras = one
        for need in map(Requirement, distribution(name).requires or []):
            if not need.marker or any(need.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
                waiting |= {(canonicalize_name(need.name), tuple(sorted(need.extras)))} - seen
    return {name for name, _ in seen} - {NAME}


def test_the_newest_change_is_this_version() -> None:
    """A version that nobody can read about is none."""
    [newest, *older] = re.findall(r"^## (\S+)$", (ROOT / "planner" / "CHANGELOG.md").read_text("utf-8"), re.M)
    assert newest == __version__ and older
