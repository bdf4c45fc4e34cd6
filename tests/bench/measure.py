"""Taking times side by side: contestants in turn, round after round, so that a busy moment falls on all of them."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Line:
    """One line of the table: our time in seconds, a peer's if there is one, and the goal for the ratio or the time."""

    bench: str
    what: str
    ours: float
    peer: str = ""
    theirs: float | None = None
    ratio: float | None = None
    goal: str = ""


def rounds_of(contestants: dict[str, Callable[[], object]], rounds: int) -> dict[str, list[float]]:
    """Seconds of each contestant in each round; one round before the first is not counted."""
    taken: dict[str, list[float]] = {name: [] for name in contestants}
    for number in range(rounds + 1):
        for name, run in contestants.items():
            start = time.perf_counter()
            run()
            if number:
                taken[name].append(time.perf_counter() - start)
    return taken


def against(
    bench: str, what: str, taken: dict[str, list[float]], goals: dict[str, str], share: int = 1, inverse: bool = False
) -> list[Line]:
    """Lines of the first contestant against each other one: the median of the ratios within a round.

    Times are divided by `share`. The ratio is ours / theirs, or theirs / ours with `inverse` ("times ahead").
    """
    (_, ours), *peers = taken.items()
    lines = []
    for name, theirs in peers:
        ratios = [t / o if inverse else o / t for o, t in zip(ours, theirs, strict=True)]
        ratio = median(ratios)
        lines.append(Line(bench, what, median(ours) / share, name, median(theirs) / share, ratio, goals.get(name, "")))
    return lines


def process(command: Sequence[str]) -> Callable[[], object]:
    """Runs a command to its end, its output thrown away; a failure is an error."""
    return lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def shown(seconds: float) -> str:
    """Three figures and a unit: `8.60 us`, `1.25 s`."""
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if seconds >= size or unit == "us":
            number = seconds / size
            return f"{number:.{max(0, 3 - len(str(int(number))))}f} {unit}"
    raise AssertionError(seconds)


def table(lines: Sequence[Line]) -> str:
    """The lines as a Markdown table that also reads well as text."""
    head = ("bench", "what", "ours", "peer", "theirs", "ratio", "goal")
    rows = [
        (
            line.bench,
            line.what,
            shown(line.ours),
            line.peer,
            "" if line.theirs is None else shown(line.theirs),
            "" if line.ratio is None else f"{line.ratio:.2f}",
            line.goal,
        )
        for line in lines
    ]
    widths = [max(len(row[place]) for row in (head, *rows)) for place in range(len(head))]
    right = {2, 4, 5}

    def one(row: Sequence[str]) -> str:
        cells = [
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return f"| {' | '.join(cells)} |"

    rule = [("-" * (width - 1) + ":") if place in right else "-" * width for place, width in enumerate(widths)]
    return "\n".join([one(head), f"| {' | '.join(rule)} |", *map(one, rows)])


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
