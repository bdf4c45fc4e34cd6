"""Plant each fault in a copy of the checkout, run the tests there, and say which one found it.

    tests/run --planted [--long] [--whole] [NAME ...]

First the tests that should find it are run, then the quick suite where they do not (with --whole from the start), and
with --long the long tests too. Ends with 1 where a fault was not found, or could not be planted.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from planted.faults import FAULTS, Fault

ROOT = Path(__file__).resolve().parents[2]
LEFT_OUT = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".hypothesis", ".*_cache", "dist", "build")
FOUND = re.compile(r"^(?:FAILED|ERROR) (\S+)", re.M)


class NotPlantedError(Exception):
    """What was to be put otherwise does not stand once in the package."""


def planted(root: Path, fault: Fault) -> tuple[Path, str, str]:
    """The file that a fault goes into, its text as it is, and with the fault. Raises NotPlantedError."""
    package = root / fault.package
    files = [package] if package.is_file() else sorted(package.rglob("*.py"))
    holding = {path: path.read_text(encoding="utf-8") for path in files}
    counts = {path: text.count(fault.before) for path, text in holding.items() if fault.before in text}
    if sum(counts.values()) != 1:
        where = ", ".join(f"{path.relative_to(root)} {count} times" for path, count in counts.items()) or "nowhere"
        raise NotPlantedError(f"{fault.name}: stands {where} in {fault.package}, not once:\n{fault.before}")
    [path] = counts
    return path, holding[path], holding[path].replace(fault.before, fault.after)


def found_by(root: Path, fault: Fault, suites: list[list[str]]) -> str:
    """The first test that fails with the fault planted, or nothing."""
    path, right, wrong = planted(root, fault)
    path.write_text(wrong, encoding="utf-8")
    try:
        for suite in suites:
            found = failing(root, suite)
            if found:
                return found
    finally:
        path.write_text(right, encoding="utf-8")
    return ""


def failing(root: Path, suite: list[str]) -> str:
    """The first test that fails. Raises RuntimeError where the tests could not be run at all."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--dist", "loadfile", *suite]
    # A fault may have as many letters as what it replaces: no compiled file is trusted.
    environment = os.environ | {"PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"}
    ran = subprocess.run(command, cwd=root, env=environment, capture_output=True, text=True)
    if ran.returncode == 0:
        return ""
    test = FOUND.search(ran.stdout)
    if test is None:
        raise RuntimeError(f"the tests ended with {ran.returncode}:\n{ran.stdout[-2000:]}{ran.stderr[-2000:]}")
    return test[1]


def main() -> int:
    asked = argparse.ArgumentParser(prog="tests/run --planted", description="Plants faults and looks who finds them.")
    asked.add_argument("names", nargs="*", metavar="NAME", help="faults to plant, all of them without one")
    asked.add_argument("--long", action="store_true", help="where the quick suite finds nothing, the long tests too")
    asked.add_argument("--whole", action="store_true", help="run the whole quick suite at once")
    asked.add_argument("--check", action="store_true", help="only see that each fault can be planted")
    asked.add_argument("--numprocesses", default="auto", help="as pytest has it")
    given = asked.parse_args()
    unknown = set(given.names) - {fault.name for fault in FAULTS}
    if unknown:
        asked.error(f"no such fault: {', '.join(sorted(unknown))}")
    wanted = [fault for fault in FAULTS if not given.names or fault.name in given.names]
    processes = ["--numprocesses", given.numprocesses]
    missed = 0
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        root = Path(folder) / "checkout"
        shutil.copytree(ROOT, root, ignore=LEFT_OUT)
        (root / ".venv").symlink_to(ROOT / ".venv")
        for fault in wanted:
            planted(root, fault)
        for fault in [] if given.check else wanted:
            suites = [] if given.whole else [["--numprocesses", "0", *fault.seen_by]]
            suites += [processes, *([[*processes, "--long"]] if given.long else [])]
            begun = time.monotonic()
            test = found_by(root, fault, suites)
            missed += not test
            seconds = time.monotonic() - begun
            print(f"{fault.name:16} {seconds:5.0f} s  {test or 'NOT FOUND'}", flush=True)
    print(f"{len(wanted)} faults can be planted" if given.check else f"{len(wanted) - missed} of {len(wanted)} found")
    return 1 if missed else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except NotPlantedError as error:
        sys.exit(f"error: {error}")
