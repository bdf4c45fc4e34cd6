"""Where plans go: one file, a file each in a folder, or standard output."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from planner.batch.writing import file_name, make_folder, write_whole
from planner.case import Case
from planner.errors import PlannerError

STANDARD_OUTPUT = "-"


class Destination:
    """Decided once for all cases. Raises PlannerError when many cases have no folder to go to.

    `output` is what -o said; `to_stdout` says that without it the plans are printed. No file of `inputs` is written
    over.
    """

    def __init__(self, output: str | None, ending: str, many: bool, to_stdout: bool, inputs: list[str]) -> None:
        self.ending = ending
        self.printed = output == STANDARD_OUTPUT or (output is None and to_stdout)
        # The slash says that a folder is meant before there is one; a Path would lose it.
        is_folder = output is not None and (output.endswith(os.sep) or Path(output).is_dir())
        if many and not self.printed and output is None:
            raise PlannerError.one("many cases need a folder", hint="-o plans/")
        if many and not self.printed and not is_folder:
            raise PlannerError.one("many cases do not fit in one file", output or "", hint=f"a folder: -o {output}/")
        self.file = None if output is None or is_folder or self.printed else Path(output)
        self.folder = Path(output) if output is not None and is_folder else Path()
        self.many = many
        self._inputs = {os.path.realpath(source) for source in inputs}
        self._taken: dict[str, str] = {}

    def of(self, case: Case) -> Path | None:
        """The file of a case's eye, None for standard output. Raises PlannerError when another eye has that file."""
        if self.printed:
            return None
        if self.file is not None:
            return self._spared(self.file)
        reference = case.reference
        name = file_name(reference, case.eye, self.ending)
        # Some file systems hold A-1 and a-1 for the same.
        first = self._taken.setdefault(name.casefold(), reference)
        if first != reference:
            why = f"{first!r} and {reference!r} would both be {name}"
            raise PlannerError.one("two cases share one file name", why=why, hint="give one of them another reference")
        return self._spared(self.folder / name)

    def _spared(self, path: Path) -> Path:
        if os.path.realpath(path) in self._inputs:
            raise PlannerError.one("is a case, and the plan would be written over it", str(path), hint="another -o")
        return path

    def put(self, case: Case, content: bytes) -> None:
        """Write what was made of a case whole, or print it. Raises CannotWriteError."""
        path = self.of(case)
        if path is None:
            sys.stdout.flush()
            sys.stdout.buffer.write(content)
            return
        make_folder(path.parent)
        write_whole(path, content)
        if not self.many:
            print(f"wrote {path}", file=sys.stderr)
