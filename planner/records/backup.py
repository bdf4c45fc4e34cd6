"""A backup: one compressed file that either kind of database can be restored from.

Gzip of lines of JSON: a header, a line a row, and last the SHA-256 of all lines before. Sessions are left out.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import io
import itertools
import json
import zlib
from collections.abc import Iterator
from operator import itemgetter
from typing import Any, BinaryIO

from sqlalchemy import Connection, Table, column, insert, table

from planner import __version__
from planner.errors import PlannerError
from planner.records import schema
from planner.records.database import Database
from planner.records.migrate import head, is_known, newer, revision_of, upgrade
from planner.records.trail import canonical
from planner.records.transaction import every_row
from planner.records.verify import Verified, is_empty, verify

FORMAT = "planner-backup-1"
SAVED: tuple[Table, ...] = (*schema.KEPT, schema.trail, schema.passwords)
_ROWS_AT_ONCE = 500
# A tenth larger than the tightest, and several times as fast.
_LEVEL = 5


def write_backup(database: Database, stream: BinaryIO) -> int:
    """Write everything, as it was at one moment, while others go on working. Returns the number of rows."""
    count = 0
    with contextlib.ExitStack() as stack:
        connection = stack.enter_context(database.reading())
        # Read first: from here on the database shows this one moment.
        tables = revision_of(connection)
        packed = stack.enter_context(
            gzip.GzipFile(fileobj=stream, mode="wb", compresslevel=_LEVEL, mtime=0, filename="")
        )
        seen = hashlib.sha256()

        def line(value: Any) -> None:
            content = (canonical(value) + "\n").encode()
            seen.update(content)
            packed.write(content)

        line({"format": FORMAT, "program": __version__, "tables": tables})
        for source in SAVED:
            for row in every_row(connection, source):
                line({"table": source.name, "row": dict(row._mapping)})
                count += 1
        packed.write((canonical({"rows": count, "sha256": seen.hexdigest()}) + "\n").encode())
    return count


def restore(database: Database, stream: BinaryIO, name: str) -> Verified:
    """Put a backup, `name` in messages, whole into an empty database, then check the trail. Raises PlannerError."""
    header = _checked(stream, name)
    with database.writing() as connection:
        if not is_empty(connection):
            why = "a restored store replaces nothing"
            raise PlannerError.one("holds something already", database.name, why, "a new, empty database")
        if revision_of(connection) != header["tables"]:
            upgrade(connection, header["tables"])
        _insert(connection, stream)
        if header["tables"] != head():
            upgrade(connection, head())
    return verify(database)


def _checked(stream: BinaryIO, name: str) -> dict[str, Any]:
    """The header, once the whole file has been read and its checksum holds."""
    seen, count, before = hashlib.sha256(), -1, b""
    header: dict[str, Any] | None = None
    try:
        for content in _lines(stream):
            if header is None:
                header = json.loads(content)
                if not isinstance(header, dict) or header.get("format") != FORMAT:
                    raise PlannerError.one("is not a backup of this program", name)
            if before:
                seen.update(before)
                count += 1
            before = content
        last = json.loads(before or b"null")
        whole = isinstance(last, dict) and (last.get("rows"), last.get("sha256")) == (count, seen.hexdigest())
    except (OSError, EOFError, ValueError, zlib.error):
        whole = False
    if not whole or header is None:
        why = "its checksum does not fit what is in it"
        raise PlannerError.one("is damaged, or not a backup", name, why, "an earlier backup")
    if not is_known(header["tables"]):
        raise newer(name, str(header["tables"]))
    return header


def _insert(connection: Connection, stream: BinaryIO) -> None:
    """Enter the rows in their order: a table that others refer to comes before them."""
    saved = (value for value in map(json.loads, _lines(stream)) if "table" in value)
    for name, values in itertools.groupby(saved, key=itemgetter("table")):
        while rows := [value["row"] for value in itertools.islice(values, _ROWS_AT_ONCE)]:
            # The tables of the backup's time, which need not be today's.
            connection.execute(insert(table(name, *map(column, rows[0]))), rows)


def _lines(stream: BinaryIO) -> Iterator[bytes]:
    stream.seek(0)
    with gzip.GzipFile(fileobj=stream, mode="rb") as packed:
        yield from io.BufferedReader(packed)
