"""The change that the rulebook's guide walks through is made as it says, and what it shows is what is printed.

Run in a copy, the version that ships standing for the guide's first. Hashes, counts of checks and seconds may vary.
A line `...` stands for lines left out. `PLANNER_RENEW_README=1` writes the real output in.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from planner.rulebook.load import shipped

ROOT = Path(__file__).parents[1]
GUIDE = ROOT / "rules" / "README.md"
BLOCK = re.compile(r"```(console|diff)\n(.*?)```", re.S)
FIRST, NEXT = "1.1.0", "2.0.0"
COMMANDS = {"check", "prove", "compare", "lock"}
RENEW = bool(os.environ.get("PLANNER_RENEW_README"))
HEAD, TAIL = 24, 2


def in_this_version(text: str) -> str:
    """The guide's text with the version that ships and the next major one."""
    version = shipped().header.version
    following = f"{int(version.split('.')[0]) + 1}.0.0"
    both = rf"\b({re.escape(FIRST)}|{re.escape(NEXT)})\b"
    return re.sub(both, lambda found: version if found[0] == FIRST else following, text)


def apply(diff: str, folder: Path) -> None:
    """Make the edits: each run of removed, kept and added lines, its old text standing once in the file."""
    for part in diff.split("--- ")[1:]:
        name, _, body = part.partition("\n")
        path = folder / name
        for hunk in re.findall(r"(?:^[- ].*\n)+(?:^\+.*\n|^\+\n)+|(?:^\+.*\n)+(?:^ .*\n)+", body, re.M):
            lines = hunk.splitlines()
            old = "".join(f"{line[1:]}\n" for line in lines if line[0] in "- ")
            new = "".join(f"{line[1:]}\n" for line in lines if line[0] in "+ ")
            text = path.read_text(encoding="utf-8")
            assert text.count(old) == 1, f"{name} has this {text.count(old)} times:\n{old}"
            path.write_text(text.replace(old, new), encoding="utf-8")


def run(command: str, folder: Path) -> str:
    program, *words = shlex.split(command)
    start = [sys.executable, "-m", "planner"] if program == "planner" else [program]
    done = subprocess.run(
        [*start, *words],
        cwd=folder,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    return done.stderr + done.stdout if program == "planner" and words[1] != "compare" else done.stdout + done.stderr


def steady(text: str) -> str:
    text = re.sub(r"sha256 [0-9a-f]{12}", "sha256 0", text)
    return re.sub(r"\d+ checks|\d+\.\d+ s\b", "0", text)


def shortened(text: str) -> str:
    lines = text.rstrip("\n").split("\n")
    return "\n".join(lines if len(lines) <= HEAD + TAIL + 1 else [*lines[:HEAD], "...", *lines[-TAIL:]])


def shown_commands(block: str) -> list[tuple[str, str]]:
    """Each command of a block with the output shown below it."""
    return re.findall(r"^\$ ([^\n]+)\n((?:(?!\$ )[^\n]*\n)*)", block, re.M)


def assert_shown(command: str, shown: str, real: str) -> None:
    place, steadied = 0, steady(real)
    for part in shown.split("...\n"):
        wanted = steady(in_this_version(part.strip("\n")))
        found = steadied.find(wanted, place)
        assert found >= 0, f"$ {command}\nnot in the real output:\n{wanted}\n--- real:\n{steadied}"
        place = found + len(wanted)
    assert bool(shown.strip()) == bool(real.strip()), f"$ {command}\n{real}"


@pytest.mark.long
def test_the_worked_change_is_real(tmp_path: Path) -> None:
    for name in ("rules", "demo_cases/cases"):
        shutil.copytree(ROOT / name, tmp_path / name)
    ran: list[str] = []

    def follow(block: re.Match[str]) -> str:
        if block[1] == "diff":
            apply(in_this_version(block[2]), tmp_path)
            return block[0]
        renewed = ""
        for command, shown in shown_commands(block[2]):
            real = run(command, tmp_path)
            ran.append(command)
            renewed += f"$ {command}\n" + (f"{shortened(real)}\n" if real else "")
            if not RENEW:
                assert_shown(command, shown, real)
        return f"```console\n{renewed}```"

    guide = BLOCK.sub(follow, GUIDE.read_text(encoding="utf-8"))
    assert {command.split()[2] for command in ran if command.startswith("planner")} == COMMANDS
    if RENEW:
        GUIDE.write_text(guide, encoding="utf-8")
