"""The database beneath the store: SQLite in a file or PostgreSQL, one writer at a time, readers never in the way.

A change is one transaction that holds the writers' lock from its first statement, so what it read is what it changes;
once it returns, the change is on the disk.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from planner.errors import PlannerError

URL_VARIABLE = "PLANNER_DATABASE_URL"
DEFAULT_FILE = "planner.db"
WAIT_SECONDS = 30
# One number for all writers of this program, as PostgreSQL's advisory locks want it: "planner" in ASCII, shortened.
WRITERS_LOCK = int.from_bytes(b"plannr", "big")


class StoreUnavailableError(PlannerError):
    """The database cannot be reached, is full, locked or damaged; nothing of the change was kept."""


def url_of(given: str | None) -> URL:
    """The database meant: the one given, else that of PLANNER_DATABASE_URL, else a file in the working folder.

    A plain path means an SQLite file. Raises PlannerError for what is no URL, or of another kind of database.
    """
    meant = given or os.environ.get(URL_VARIABLE) or DEFAULT_FILE
    if "://" not in meant:
        return URL.create("sqlite", database=meant)
    try:
        url = make_url(meant)
    except ArgumentError:
        raise PlannerError.one("cannot be read as a database's URL", URL_VARIABLE, hint=_FORMS) from None
    kind = url.get_backend_name()
    if kind in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if kind != "sqlite":
        raise PlannerError.one(f"{kind} is not a database this program can use", URL_VARIABLE, hint=_FORMS)
    if not url.database or url.database == ":memory:":
        why = "what is kept in memory is lost when the program ends"
        raise PlannerError.one("names no file", URL_VARIABLE, why, _FORMS)
    return url


_FORMS = "sqlite:///planner.db, or postgresql://user@host/database"


class Database:
    """One database; a file that is not there is made, or without `create` refused; `name` shows no password."""

    def __init__(self, url: URL, create: bool = True) -> None:
        self.is_file = url.get_backend_name() == "sqlite"
        self.name = str(url.database) if self.is_file else url.render_as_string(hide_password=True)
        if self.is_file and not create and not Path(self.name).exists():
            hint = f"another folder, {URL_VARIABLE}, or planner people add to begin one"
            raise PlannerError.one("there is no store here", self.name, hint=hint)
        self._engine = self._file_engine(url) if self.is_file else self._server_engine(url)

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one moment of the database throughout. Raises StoreUnavailableError."""
        with self._refusals_in_words(), self._engine.connect() as connection:
            if not self.is_file:
                connection = connection.execution_options(
                    isolation_level="REPEATABLE READ", postgresql_readonly=True
                )  # fmt: skip
            with connection.begin():
                yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction, one at a time: kept whole when the block ends, else not. Raises StoreUnavailableError."""
        with self._refusals_in_words(), self._engine.connect() as connection:
            connection = connection.execution_options(planner_writes=True)
            if not self.is_file:
                # Each statement then sees what was kept before it. Where the server's own default is a stricter level,
                # a writer that waited for the lock would go on with what it saw before it waited.
                connection = connection.execution_options(isolation_level="READ COMMITTED")
            with connection.begin():
                if not self.is_file:
                    connection.execute(text(f"SELECT pg_advisory_xact_lock({WRITERS_LOCK})"))
                yield connection

    def close(self) -> None:
        self._engine.dispose()

    def _file_engine(self, url: URL) -> Engine:
        path = Path(str(url.database))
        try:
            if not path.exists():
                # What it holds is nobody else's to read.
                os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            hint = "a folder that is there and can be written to"
            raise StoreUnavailableError.one(f"cannot be opened: {error.strerror}", self.name, hint=hint) from error
        engine = create_engine(url, connect_args={"timeout": WAIT_SECONDS}, pool_timeout=WAIT_SECONDS)

        @event.listens_for(engine, "connect")
        def prepare(connection: sqlite3.Connection, _: object) -> None:
            # The driver must not begin transactions by itself; FULL flushes every commit to the disk.
            connection.isolation_level = None
            for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
                connection.execute(f"PRAGMA {setting}").close()

        @event.listens_for(engine, "begin")
        def begin(connection: Connection) -> None:
            writes = connection.get_execution_options().get("planner_writes", False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

        return engine

    def _server_engine(self, url: URL) -> Engine:
        try:
            return create_engine(
                url, pool_timeout=WAIT_SECONDS, pool_pre_ping=True, connect_args={"connect_timeout": WAIT_SECONDS}
            )
        except (NoSuchModuleError, ModuleNotFoundError):
            raise PlannerError.one(
                "the driver for PostgreSQL is not installed", self.name, hint="install the package's [postgresql] extra"
            ) from None

    @contextlib.contextmanager
    def _refusals_in_words(self) -> Iterator[None]:
        """What the database or the disk refuses, in the words of one fault."""
        try:
            yield
        except (DBAPIError, PoolTimeoutError) as error:
            said = str(getattr(error, "orig", None) or error).strip().splitlines()
            what, hint = _in_words(said[0] if said else "")
            why = "nothing of this change was kept"
            raise StoreUnavailableError.one(what, self.name, why, hint) from error


def _in_words(said: str) -> tuple[str, str]:
    known = {
        "full": ("the disk, or the database, is full", "free some room, then do it again"),
        "No space left": ("the disk is full", "free some room, then do it again"),
        "locked": (f"somebody else has been writing for {WAIT_SECONDS} seconds", "do it again in a minute"),
        "readonly": ("cannot be written to", "look at the rights of the file and its folder"),
        "not a database": ("is not a database of this program", f"another file, by {URL_VARIABLE}"),
        "malformed": ("is damaged", "planner records restore, from the last backup"),
        "never changed": ("refuses to change or delete what was entered", "enter a correction instead"),
        "unable to open": ("cannot be opened", "a folder that exists and can be written to"),
        "connection failed": (f"cannot be reached: {said}", "is the server running, and the URL right?"),
    }
    return next((told for part, told in known.items() if part in said), (said, "planner records verify"))


def engine_of(database: Database) -> Engine:
    """The engine itself, for tests that do what the program never does."""
    return database._engine
