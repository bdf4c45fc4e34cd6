"""A PostgreSQL cluster of the tests' own: in a temporary folder, reached by a socket in it, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import psycopg

NOT_INSTALLED = "PostgreSQL is not installed (.ci/set-up tests installs it)"


def programs() -> Path | None:
    """The folder of the newest installed server's programs, or None."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


class Cluster:
    def __init__(self, folder: Path, run: Callable[..., None]) -> None:
        self.folder = folder
        self._run = run
        self._numbers = count(1)

    def start(self) -> None:
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder} -c fsync=off"
        self._run("pg_ctl", "-D", self._data, "-w", "-o", options, "-l", str(self.folder / "log"), "start")

    def stop(self) -> None:
        """Stop it as a crash does: whoever is connected is cut off."""
        self._run("pg_ctl", "-D", self._data, "-w", "-m", "immediate", "stop")

    def make(self) -> None:
        self._run("initdb", "-D", self._data, "-U", "postgres", "-A", "trust", "--no-sync", "-E", "UTF8")

    @property
    def _data(self) -> str:
        return str(self.folder / "data")

    def new_database(self, like: str = "template0") -> str:
        """Make a database, a copy of another where one is named, and return its name."""
        name = f"store_{next(self._numbers)}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {like} ENCODING 'UTF8'")  # type: ignore[call-overload]
        return name

    def set_default(self, database: str, name: str, value: str) -> None:
        """Give a database another default of one of the server's settings, for whoever connects from now on."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"ALTER DATABASE {database} SET {name} = '{value}'")  # type: ignore[call-overload]

    def drop(self, database: str) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {database} WITH (FORCE)")  # type: ignore[call-overload]

    def url(self, database: str) -> str:
        return f"postgresql://postgres@/{database}?host={self.folder}"


@contextmanager
def cluster() -> Iterator[Cluster]:
    """Start one, and stop it when the block ends. The server refuses to run as root, so root lends it an account."""
    installed = programs()
    assert installed is not None, NOT_INSTALLED
    folder = Path(tempfile.mkdtemp(prefix="planner-postgres-"))
    as_server: list[str] = []
    if os.getuid() == 0:
        account = pwd.getpwnam("postgres")
        os.chown(folder, account.pw_uid, account.pw_gid)
        as_server = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *arguments: str) -> None:
        command = [*as_server, str(installed / program), *arguments]
        subprocess.run(command, check=True, capture_output=True, cwd=folder, timeout=120)

    made = Cluster(folder, run)
    try:
        made.make()
        made.start()
        try:
            yield made
        finally:
            made.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
