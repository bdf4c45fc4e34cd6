"""Starting: `planner --help` beside the --help of a bare typer program with as many commands."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from bench.measure import Line, against, process, rounds_of, say

PLAIN, RICH = "typer, rich_markup_mode=None", "typer, as it comes"
PROGRAM = """
import typer
app = typer.Typer({options})
for name in ("intake", "assess", "plan", "explain", "rules"):
    app.command(name)(lambda: None)
app()
"""


def run(quick: bool) -> Iterator[Line]:
    say("planner --help")
    with tempfile.TemporaryDirectory() as name:
        programs = {PLAIN: "rich_markup_mode=None, add_completion=False", RICH: ""}
        commands = {"ours": [str(Path(sys.executable).with_name("planner")), "--help"]}
        for place, (title, options) in enumerate(programs.items()):
            path = Path(name) / f"program_{place}.py"
            path.write_text(PROGRAM.format(options=options))
            commands[title] = [sys.executable, str(path), "--help"]
        taken = rounds_of({title: process(command) for title, command in commands.items()}, 3 if quick else 25)
    yield from against("planner --help", "a process", taken, {PLAIN: "<= 1.2", RICH: "<= 1.2"})
