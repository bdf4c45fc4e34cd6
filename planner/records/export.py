"""Everything ever entered, as a folder of CSV and JSON with a README that names each column."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import secrets
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any, TextIO

from sqlalchemy import Connection, Table, select

from planner.case import HEADINGS
from planner.errors import PlannerError
from planner.records import schema
from planner.records.database import Database
from planner.records.trail import canonical
from planner.records.transaction import every_row, is_newest

CASES_NOW = "cases-now.csv"
README = "README.md"
# A spreadsheet would reckon a cell that begins so.
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def export(database: Database, folder: Path) -> int:
    """Write all as of one moment, or nothing, into a new folder. Returns the number of rows. Raises PlannerError."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise PlannerError.one("is not an empty folder", str(folder), hint="the name of a new one")
    between = folder.parent / f".planner-{secrets.token_hex(8)}"
    try:
        between.mkdir(parents=True, mode=0o700)
        with database.reading() as connection:
            count = sum(_write_table(connection, between, table) for table in schema.PROTECTED)
            _write_cases_now(connection, between)
        (between / README).write_text(readme(), encoding="utf-8")
        os.replace(between, folder)
    except OSError as error:
        raise PlannerError.one(
            f"cannot be written: {error.strerror}", str(folder), hint="another place, or free some room"
        ) from None
    finally:
        shutil.rmtree(between, ignore_errors=True)
    return count


def readme() -> str:
    """What the files are and what each column holds."""
    parts = [
        "# Export of the cataract case planner\n",
        "Everything ever entered, each table as CSV and as JSON. Rows are never changed or deleted: a correction, a",
        "change or an ending is a further row, and `trail` says who entered each row and when. Times are UTC",
        "(`2026-11-02T07:10:00.000000Z`), days `YYYY-MM-DD`. An empty cell is nothing entered. Patients go by the",
        "unit's own references. Passwords are not exported.\n",
        "In the CSV files a text that begins with `=`, `+`, `-` or `@` has a `'` before it, so that no spreadsheet",
        "reckons it; the JSON files hold it as it was entered.\n",
        f"`{CASES_NOW}` holds each case as it stands, one row an eye, findings as columns: a table that",
        "`planner assess` and `planner plan` read. Several values of one finding are joined by `+`.\n",
    ]
    for table in schema.PROTECTED:
        parts += [f"## {table.name}\n", f"{table.comment}\n", "| column | what it holds |", "|---|---|"]
        parts += [f"| {column.name} | {column.comment} |" for column in table.columns]
        parts.append("")
    return "\n".join(parts)


def _write_table(connection: Connection, folder: Path, table: Table) -> int:
    count = 0
    with _new(folder / f"{table.name}.csv") as cells, _new(folder / f"{table.name}.json") as objects:
        writer = csv.writer(cells, lineterminator="\n")
        writer.writerow(table.columns.keys())
        objects.write("[")
        for row in every_row(connection, table):
            writer.writerow(guarded(value) for value in row)
            objects.write((",\n" if count else "\n") + canonical(_nested(dict(row._mapping))))
            count += 1
        objects.write("\n]\n")
    return count


def _write_cases_now(connection: Connection, folder: Path) -> None:
    versions = schema.case_versions.c
    query = select(versions.document).where(is_newest(versions.case_id)).order_by(versions.case_id)
    documents = [json.loads(text) for text in connection.scalars(query)]
    headings = [name for name in HEADINGS if name != "findings"]
    findings = list(dict.fromkeys(name for document in documents for name in document.get("findings", {})))
    with _new(folder / CASES_NOW) as cells:
        writer = csv.writer(cells, lineterminator="\n")
        writer.writerow([*headings, *findings])
        for document in documents:
            everything = document | document.get("findings", {})
            writer.writerow(guarded(_joined(everything.get(name))) for name in (*headings, *findings))


def _new(path: Path) -> TextIO:
    return path.open("x", encoding="utf-8", newline="")


def csv_text(header: Iterable[str], rows: Iterable[Iterable[object]], newline: str = "\n") -> str:
    """A table as CSV whose cells no spreadsheet reckons."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator=newline)
    writer.writerow(header)
    writer.writerows([guarded(str(cell)) for cell in row] for row in rows)
    return text.getvalue()


def guarded(value: Any) -> Any:
    """A cell that no spreadsheet reckons; a number stays one, below nought too."""
    if isinstance(value, str) and value.startswith(_FORMULA) and not _NUMBER.fullmatch(value):
        return f"'{value}"
    return value


def _nested(row: dict[str, Any]) -> dict[str, Any]:
    return {name: _decoded(value) if name in schema.JSON_COLUMNS else value for name, value in row.items()}


def _decoded(text: Any) -> Any:
    try:
        return None if text is None else json.loads(text)
    except ValueError:
        # Damaged by somebody, which `verify` says; what is left of it is still theirs to have.
        return text


def _joined(value: Any) -> Any:
    if isinstance(value, list):
        return "+".join(map(str, value))
    return ("yes" if value else "no") if isinstance(value, bool) else value
