"""Bringing a database to this program's tables, and refusing one that a newer program made."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, inspect

from planner.errors import PlannerError
from planner.records.database import Database

MIGRATIONS = Path(__file__).parent / "migrations"


def bring_up_to_date(database: Database) -> None:
    """Make the tables in an empty database, or bring older ones up. Raises PlannerError for any other database."""
    with database.reading() as connection:
        if revision_of(connection) == head():
            return
    # Looked at again under the writers' lock: another process may have come first.
    with database.writing() as connection:
        revision = revision_of(connection)
        if revision == head():
            return
        if revision is None and inspect(connection).get_table_names():
            why = "it holds tables, and none says that they are this program's"
            raise PlannerError.one("is not a store of this program", database.name, why, "an empty database")
        if revision is not None and not is_known(revision):
            raise newer(database.name, revision)
        upgrade(connection, head())


def newer(where: str, revision: str) -> PlannerError:
    why = f"its tables are of revision {revision}, and this program knows up to {head()}"
    return PlannerError.one("was made by a newer version of this program", where, why, "the newer version")


def upgrade(connection: Connection, revision: str) -> None:
    """Run the migrations up to a revision, in the transaction of the connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def head() -> str:
    """The revision of this program's tables."""
    return str(ScriptDirectory(str(MIGRATIONS)).get_current_head())


def is_known(revision: str) -> bool:
    try:
        return ScriptDirectory(str(MIGRATIONS)).get_revision(revision) is not None
    except CommandError:
        return False


def revision_of(connection: Connection) -> str | None:
    """The revision that the database says it has, None where it says nothing."""
    return MigrationContext.configure(connection).get_current_revision()
