"""The roster as a spreadsheet's workbook (.xlsx), a sheet a kind of entry: read within bounds, and written as text."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Iterable, Iterator
from typing import Any

from planner.errors import PlannerError
from planner.lists.roster.entries import KIND_OF_FIELD
from planner.lists.roster.import_rows import ImportSource
from planner.lists.roster.tables import MOST_COLUMNS, MOST_ROWS, CellRow, source_of, table_rows, too_many
from planner.records.rows import RosterEntry

LARGEST_BOOK = 2_000_000
LARGEST_UNPACKED = 10_000_000


def read_book(content: bytes, name: str) -> list[ImportSource]:
    """A workbook (.xlsx): every sheet whose name or header tells a kind. Raises PlannerError."""
    from openpyxl import load_workbook

    _bounded(content, name)
    sources = []
    try:
        # Twice: as typed, which shows formulas, and with what the formulas came to when it was last saved.
        typed = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
        values = load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        for sheet in typed.worksheets:
            where = f"{name}, sheet {sheet.title}"
            merged = _merged_rows(content, sheet._worksheet_path)
            if rows := list(_sheet_rows(sheet, values[sheet.title], where, merged)):
                sources.append(source_of(where, sheet.title, rows))
    except PlannerError:
        raise
    except Exception as error:  # what a damaged or hostile file makes the library raise is of no one kind
        why = type(error).__name__
        raise PlannerError.one("cannot be read as a workbook", name, why, "save it again as .xlsx, or as CSV") from None
    if not sources:
        raise PlannerError.one("holds no row", name)
    return sources


def _bounded(content: bytes, name: str) -> None:
    """Refuse what would unpack to more than a roster can be; the library reads no part beyond its stated size."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OverflowError):
        hint = "save it as .xlsx, or as CSV"
        raise PlannerError.one("is no workbook", name, "an .xlsx file is a packed folder", hint) from None
    if size > LARGEST_UNPACKED:
        why = f"unpacked it has {size:,} bytes, and {LARGEST_UNPACKED:,} may be read"
        raise PlannerError.one("is too large", name, why, "the rows of the roster alone, in a new file")


_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\b[^>]*?\bref=[\"']([A-Z]+)(\d+):([A-Z]+)(\d+)[\"']")


def _merged_rows(content: bytes, path: str) -> dict[int, str]:
    """The rows that merged cells touch, each with those cells."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        found = _MERGED.findall(packed.read(path.lstrip("/")))
    rows: dict[int, str] = {}
    for left, first, right, last in found:
        for number in range(int(first), min(int(last), int(first) + MOST_ROWS) + 1):
            rows.setdefault(number, f"{left.decode()}{int(first)}:{right.decode()}{int(last)}")
    return rows


def _sheet_rows(typed: Any, values: Any, where: str, merged: dict[int, str]) -> Iterator[CellRow]:
    bounds = {"max_col": MOST_COLUMNS, "max_row": MOST_ROWS + 2}
    rows = zip(typed.iter_rows(**bounds), values.iter_rows(**bounds), strict=False)
    for number, (cells, shown) in enumerate(rows, 1):
        if number > MOST_ROWS + 1:
            raise too_many(where)
        wrong = ""
        if number in merged:
            wrong = f"cells {merged[number]} are merged, and which of their rows or columns is meant is not said"
        texts = []
        for cell, value in zip(cells, shown, strict=False):
            if cell.data_type == "f" and value.value is None:
                wrong = wrong or f"{cell.coordinate} is a formula whose value was not saved"
            if value.data_type == "e":
                wrong = wrong or f"{cell.coordinate} is {value.value}"
            texts.append(_text_of(value.value))
        if any(texts) or wrong:
            yield CellRow(number, tuple(texts), wrong)


def _text_of(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.datetime):
        return value.date().isoformat() if value.time() == datetime.time() else value.isoformat(" ", "minutes")
    if isinstance(value, datetime.time):
        return f"{value:%H:%M}"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def as_book(entries: Iterable[RosterEntry]) -> bytes:
    """A workbook of a sheet a table; leave stands with the people."""
    from openpyxl import Workbook

    entries = list(entries)
    book = Workbook()
    book.remove(book.active)
    for table in KIND_OF_FIELD:
        header, rows = table_rows(table, entries)
        sheet = book.create_sheet(table)
        sheet.freeze_panes = "B2"
        for number, row in enumerate([header, *rows], 1):
            for column, cell in enumerate(row, 1):
                # Text throughout: no program reads a day or an id another way, and nothing is reckoned.
                made = sheet.cell(number, column)
                made.value, made.data_type, made.number_format = cell, "s", "@"
        for column, name in enumerate(header, 1):
            width = max([len(name), *(len(row[column - 1]) for row in rows)])
            sheet.column_dimensions[sheet.cell(1, column).column_letter].width = min(60, width + 2)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
