"""The command run as its user runs it: through `main`, in a folder of its own, and as a process where that matters."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from commands import Ran, in_process


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder of the test."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def planner(folder: Path) -> Callable[..., Ran]:
    """Run `planner ARGUMENTS` in this process, in the working folder."""
    return in_process


@pytest.fixture
def process(folder: Path) -> Callable[..., subprocess.Popen[bytes]]:
    """Start `planner ARGUMENTS` as a process in the working folder."""

    def start(*arguments: object, **options: object) -> subprocess.Popen[bytes]:
        # The checkout these tests belong to, wherever the interpreter was installed from.
        root = str(Path(__file__).parents[2])
        environment = os.environ | {"PYTHONPATH": root}
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL}
        command = [sys.executable, "-m", "planner", *map(str, arguments)]
        # Whoever runs the tests in the background has interrupts ignored, and so would what is started here.
        heeding: Callable[[], object] = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
        settings = pipes | {"preexec_fn": heeding} | options
        return subprocess.Popen(command, cwd=folder, env=environment, **settings)  # type: ignore[call-overload]

    return start
