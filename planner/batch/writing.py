"""Writing whole files or none, each where it goes: a reader never meets half a plan, a failure leaves the old file."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
import sys
from collections.abc import Iterable
from pathlib import Path

from planner.case import Case
from planner.errors import PlannerError

STANDARD_OUTPUT = "-"


class CannotWriteError(PlannerError):
    """Nothing more can be written, so going on with the next case is no use."""


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place, then move it there in one step. Raises CannotWriteError.

    The name in between starts with `.planner-`, and exists only once the content is on the disk where the system
    can hold a file without a name. A pipe or a device is written to, never replaced.
    """
    try:
        if path.exists() and not stat.S_ISREG(path.stat().st_mode):
            with path.open("wb") as stream:
                stream.write(content)
            return
        # A link keeps pointing where it does; what it points to is replaced.
        path = Path(os.path.realpath(path))
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            _replace(folder, path.name, content)
        finally:
            os.close(folder)
    except OSError as error:
        raise CannotWriteError.one(
            f"cannot be written: {error.strerror}", str(path), hint="another place with -o, or free some room"
        ) from None


def _replace(folder: int, name: str, content: bytes) -> None:
    between = f".planner-{secrets.token_hex(8)}"
    try:
        descriptor, unnamed = _new_file(folder, between)
        try:
            with open(descriptor, "wb", closefd=False) as stream:
                stream.write(content)
            os.fsync(descriptor)
            if unnamed:
                # Given both folders, Python asks the system to follow the link to the open file.
                os.link(f"/proc/self/fd/{descriptor}", between, src_dir_fd=folder, dst_dir_fd=folder)
        finally:
            os.close(descriptor)
        os.rename(between, name, src_dir_fd=folder, dst_dir_fd=folder)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(between, dir_fd=folder)
        raise
    os.fsync(folder)


def _new_file(folder: int, between: str) -> tuple[int, bool]:
    """A new file open for writing: without a name, so that a killed process leaves nothing, where that can be had."""
    if os.path.exists("/proc/self/fd"):
        with contextlib.suppress(OSError):
            return os.open(".", os.O_TMPFILE | os.O_WRONLY, 0o666, dir_fd=folder), True
    return os.open(between, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666, dir_fd=folder), False


def make_folder(folder: Path) -> None:
    """Make a folder and those above it. Raises CannotWriteError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = "is not a folder" if isinstance(error, FileExistsError) else f"cannot be made: {error.strerror}"
        raise CannotWriteError.one(what, str(folder), hint="another folder with -o") from None


def file_name(reference: str, eye: str, ending: str) -> str:
    """A file name for one eye: letters and digits of the reference kept, anything else a hyphen."""
    safe = "".join(letter if letter.isalnum() or letter in "._" else "-" for letter in reference)
    return f"{safe.lstrip('.') or 'case'}-{eye}{ending}"


def is_among(path: Path, sources: Iterable[str]) -> bool:
    """Whether writing to a path would write over one of the sources read."""
    return os.path.realpath(path) in {os.path.realpath(source) for source in sources}


class Destination:
    """Decided once for all cases. Raises PlannerError when many cases have no folder to go to.

    `output` is what -o said; `to_stdout`: without it plans are printed. No file of `inputs` is written over.
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
