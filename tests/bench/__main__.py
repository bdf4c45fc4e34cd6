"""Runs the benches and prints their one table."""

from __future__ import annotations

import argparse
import platform

from bench import assessment, conditions, lists, load, many, pages, prints, start
from bench.measure import table

BENCHES = {
    "conditions": conditions.run,
    "assessment": assessment.run,
    "start": start.run,
    "pages": pages.run,
    "many": many.run,
    "load": load.run,
    "prints": prints.run,
    "lists": lists.run,
}


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="tests/bench/run", description="Measures speed beside peers; nothing is asserted."
    )
    parser.add_argument("benches", nargs="*", metavar="BENCH", help=f"[default: all] {', '.join(BENCHES)}")
    parser.add_argument("--quick", action="store_true", help="few cases and rounds: whether it runs, not how fast")
    given = parser.parse_args()
    if unknown := set(given.benches) - set(BENCHES):
        parser.error(f"no bench {', '.join(sorted(unknown))}; there are {', '.join(BENCHES)}")
    lines = [line for name in given.benches or BENCHES for line in BENCHES[name](given.quick)]
    print(f"{platform.machine()}, Python {platform.python_version()}\n\n{table(lines)}")


if __name__ == "__main__":
    main()
