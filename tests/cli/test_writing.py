"""Whole files or none: full disk, unwritable places, two writers at once, and a killed process."""

from __future__ import annotations

import errno
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from commands import Ran, case_text, files, table
from seeds import one_in

from planner.batch.writing import CannotWriteError, file_name, write_whole

Start = Callable[..., "subprocess.Popen[bytes]"]


@pytest.fixture
def case(folder: Path) -> Path:
    (folder / "case.yaml").write_text(case_text())
    return folder / "case.yaml"


@pytest.fixture
def small_disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A file system of 16 kB."""
    place = tmp_path_factory.mktemp("disk")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", place], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("may not mount a small file system here")
    yield place
    subprocess.run(["umount", place], check=True)


def test_a_file_is_replaced_whole_and_keeps_the_users_mask(tmp_path: Path) -> None:
    path = tmp_path / "plan.pdf"
    path.write_bytes(b"old")
    before = os.umask(0o027)
    try:
        write_whole(path, b"new")
    finally:
        os.umask(before)
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640
    assert files(tmp_path) == {"plan.pdf"}


@pytest.mark.parametrize(
    "nameless, step", [(True, "fsync"), (True, "link"), (True, "rename"), (False, "fsync"), (False, "rename")]
)
def test_a_failure_leaves_the_old_file_and_nothing_else(
    nameless: bool, step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not nameless:
        # As on a file system that knows no nameless files.
        monkeypatch.setattr(os, "O_TMPFILE", os.O_DIRECTORY | os.O_WRONLY)
    path = tmp_path / "plan.pdf"
    path.write_bytes(b"old")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, step, full)
    with pytest.raises(CannotWriteError, match=r"plan\.pdf: cannot be written: No space left on device"):
        write_whole(path, b"new" * 1000)
    assert path.read_bytes() == b"old"
    assert files(tmp_path) == {"plan.pdf"}


def test_a_system_without_nameless_files_writes_whole_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "O_TMPFILE", os.O_DIRECTORY | os.O_WRONLY)
    write_whole(tmp_path / "plan.pdf", b"new")
    assert (tmp_path / "plan.pdf").read_bytes() == b"new"
    assert files(tmp_path) == {"plan.pdf"}


def test_a_link_is_followed_and_a_device_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_bytes() == b"new"
    write_whole(Path("/dev/null"), b"new")
    assert Path("/dev/null").is_char_device()


def test_a_full_disk_leaves_nothing_half_written(case: Path, small_disk: Path, planner: Callable[..., Ran]) -> None:
    ran = planner("plan", case, "-o", small_disk / "plan.pdf")
    assert re.search(r"plan\.pdf: cannot be written: No space left on device.*try: ", ran.error)
    assert files(small_disk) == set()
    (small_disk / "plan.pdf").write_bytes(b"old plan")
    assert "No space left" in planner("plan", case, "-o", small_disk / "plan.pdf").error
    assert (small_disk / "plan.pdf").read_bytes() == b"old plan"
    assert files(small_disk) == {"plan.pdf"}


def test_a_full_disk_stops_a_batch_at_whole_files(small_disk: Path, folder: Path, planner: Callable[..., Ran]) -> None:
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(1, 6))))
    assert "No space left" in planner("plan", "list.csv", "--format", "text", "-o", small_disk).error
    for name in files(small_disk):
        assert (small_disk / name).read_text().rstrip().endswith(case_end(planner)), name


def case_end(planner: Callable[..., Ran]) -> str:
    """The last line of a whole text plan."""
    Path("one.yaml").write_text(case_text())
    return planner("plan", "one.yaml", "--format", "text").out.rstrip().splitlines()[-1]


@pytest.mark.parametrize(
    "output, words",
    [
        ("/dev/full", "/dev/full: cannot be written: No space left on device"),
        ("/proc/plan.pdf", "/proc/plan.pdf: cannot be written"),
        ("case.yaml/plan.pdf", "case.yaml: is not a folder"),
        ("case.yaml/", "case.yaml: is not a folder"),
        ("case.yaml/deeper/plan.pdf", "case.yaml/deeper: cannot be made: Not a directory"),
    ],
)
def test_an_unwritable_output_is_said(
    output: str, words: str, case: Path, folder: Path, planner: Callable[..., Ran]
) -> None:
    assert words in planner("plan", case, "-o", output, "--format", "text").error
    assert files(folder) == {"case.yaml"}
    assert case.read_text() == case_text()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_permission_is_said(case: Path, folder: Path, planner: Callable[..., Ran]) -> None:
    (folder / "shut").mkdir(mode=0o555)
    assert "Permission denied" in planner("plan", case, "-o", "shut/plan.pdf").error


@pytest.mark.parametrize(
    "arguments", one_in(2, [["assess"], ["plan", "--format", "text"], ["explain", "why", "tier"], ["intake"]])
)
def test_a_full_standard_output_is_said(arguments: list[str], case: Path, process: Start) -> None:
    with open("/dev/full", "wb") as full:
        sources = [] if arguments == ["intake"] else [case]
        started = process(*arguments, *sources, stdout=full)
        _, told = started.communicate(timeout=60)
    assert started.returncode == 1
    assert told.decode() == "error: standard output: cannot be written: No space left on device\n"


def test_a_reader_that_leaves_is_no_error(case: Path, process: Start) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    started = process("intake", stdout=writing)
    os.close(writing)
    _, told = started.communicate(timeout=60)
    assert started.returncode == 1
    assert told == b""


def test_a_plan_never_replaces_a_case(case: Path, folder: Path, planner: Callable[..., Ran]) -> None:
    assert "would be written over it" in planner("plan", case, "-o", "case.yaml").error
    assert case.read_text() == case_text()
    (folder / "A-1-right.json").write_text('{"case": "A-1", "eye": "right"}')
    assert "would be written over it" in planner("plan", "A-1-right.json", "--format", "json", "-o", ".").error


@pytest.mark.long
def test_two_processes_with_one_output_leave_one_whole_plan(case: Path, folder: Path, process: Start) -> None:
    started = [process("plan", case, "-o", "plan.pdf") for _ in range(2)]
    for each in started:
        _, told = each.communicate(timeout=120)
        assert each.returncode == 0, told
    written = (folder / "plan.pdf").read_bytes()
    assert written.startswith(b"%PDF") and written.rstrip().endswith(b"%%EOF")
    assert files(folder) == {"case.yaml", "plan.pdf"}


def test_a_reader_meets_whole_files_only_while_many_write(tmp_path: Path) -> None:
    path = tmp_path / "plan"
    script = (
        "import sys; from pathlib import Path; from planner.batch.writing import write_whole\n"
        "for n in range(60): write_whole(Path(sys.argv[1]), sys.argv[2].encode() * 300_000)"
    )
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    writers = [subprocess.Popen([sys.executable, "-c", script, path, letter], env=environment) for letter in "ab"]
    met: set[bytes] = set()
    while any(writer.poll() is None for writer in writers):
        if path.exists():
            content = path.read_bytes()
            assert len(content) == 300_000 and len(set(content)) == 1
            met.add(content[:1])
    assert [writer.returncode for writer in writers] == [0, 0]
    assert met and files(tmp_path) == {"plan"}


@pytest.mark.long
def test_a_killed_batch_leaves_whole_files_only(folder: Path, process: Start, planner: Callable[..., Ran]) -> None:
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(1, 40))))
    started = process("plan", "list.csv", "-o", "out/", start_new_session=True)
    deadline = time.monotonic() + 90
    while len(files(folder)) < 4 and time.monotonic() < deadline:
        time.sleep(0.002)
    os.killpg(started.pid, signal.SIGKILL)
    started.communicate()
    assert started.returncode == -signal.SIGKILL, "it had ended before"
    written = sorted((folder / "out").iterdir())
    assert 3 <= len(written) < 39
    for path in written:
        content = path.read_bytes()
        assert re.fullmatch(r"A-\d+-right\.pdf", path.name)
        assert content.startswith(b"%PDF") and content.rstrip().endswith(b"%%EOF"), path


@pytest.mark.long
def test_an_interrupted_batch_ends_quietly_with_130(folder: Path, process: Start) -> None:
    (folder / "list.csv").write_text(table(*({"case": f"A-{n}"} for n in range(1, 40))))
    started = process("plan", "list.csv", "-o", "out/")
    deadline = time.monotonic() + 90
    while len(files(folder)) < 3 and time.monotonic() < deadline:
        time.sleep(0.01)
    started.send_signal(signal.SIGINT)
    out, told = started.communicate(timeout=60)
    assert started.returncode == 130
    assert out == b"" and b"Traceback" not in told
    assert all(re.fullmatch(r"A-\d+-right\.pdf", path.name) for path in (folder / "out").iterdir())


@pytest.mark.parametrize(
    "reference, name",
    [
        ("A-104", "A-104-right.pdf"),
        ("../../etc/passwd", "-..-etc-passwd-right.pdf"),
        ("a/b\\c:d*e?", "a-b-c-d-e--right.pdf"),
        (".hidden", "hidden-right.pdf"),
        ("...", "case-right.pdf"),
        ("Übung 7", "Übung-7-right.pdf"),
        ("漢" * 60, "漢" * 60 + "-right.pdf"),
    ],
)
def test_a_file_name_is_safe_anywhere(reference: str, name: str, tmp_path: Path) -> None:
    assert file_name(reference, "right", ".pdf") == name
    write_whole(tmp_path / name, b"")
    assert files(tmp_path) == {name}
