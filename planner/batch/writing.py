"""Writing whole files or none: a reader never meets half a plan, and a failure leaves the old file as it was."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from collections.abc import Iterable
from pathlib import Path

from planner.errors import PlannerError


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
