"""What the README shows is real: each `$ planner ...` is run, and the lines below it are compared with its output.

A line `...` stands for lines left out. `PLANNER_RENEW_README=1` writes the real output in.
"""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest
from commands import in_process

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"```console\n\$ (planner [^\n]+)\n(.*?)```", re.S)
LONGEST = 24


def run(command: str, folder: Path) -> str:
    # Split first: the folder's own path may hold spaces.
    words = [word.replace("demo_cases/", f"{ROOT}/demo_cases/") for word in shlex.split(command)[1:]]
    done = in_process(*words, folder=folder)
    return (done.out + done.err).replace(f"{ROOT}/", "")


def shown_blocks() -> list[tuple[str, str]]:
    return BLOCK.findall(README.read_text(encoding="utf-8"))


def test_the_readme_shows_commands() -> None:
    assert len(shown_blocks()) >= 5


@pytest.mark.parametrize("command,shown", shown_blocks(), ids=[c for c, _ in shown_blocks()])
def test_shown_output_is_real(command: str, shown: str, tmp_path: Path) -> None:
    real = run(command, tmp_path)
    if os.environ.get("PLANNER_RENEW_README"):
        lines = real.rstrip("\n").split("\n")
        kept = lines if len(lines) <= LONGEST else [*lines[: LONGEST - 1], "..."]
        text = README.read_text(encoding="utf-8")
        renewed = text.replace(f"$ {command}\n{shown}```", f"$ {command}\n" + "\n".join(kept) + "\n```")
        README.write_text(renewed, encoding="utf-8")
        return
    wanted = [part.strip("\n") for part in shown.split("\n...\n")]
    assert any(wanted), "a command without output shows nothing"
    place = 0
    for part in wanted:
        found = real.find(part, place)
        assert found >= 0, f"not in the real output:\n{part}\n--- real:\n{real}"
        place = found + len(part)
