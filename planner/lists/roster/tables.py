"""The roster as tables, a kind of entry each: what a row says, whichever program wrote it, and CSV.

The columns are the fields of a sessions file. A column left out leaves what stands; an empty cell takes it away. The
table `leave` has a person's code and the first and last day of an absence. Whatever could be read two ways is refused.
"""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from planner import strict_yaml
from planner.errors import PlannerError
from planner.lists.roster.entries import KIND_OF_FIELD, PEOPLE
from planner.lists.roster.fields import EntryField, cell_of, days_between, fields_of, read_cell
from planner.lists.roster.import_rows import LEAVE, WHY, ImportRow, ImportSource, RowSetAside
from planner.records.export import csv_text, guarded
from planner.records.rows import RosterEntry
from planner.rulebook.references import nearest

MOST_ROWS = 2_000
MOST_COLUMNS = 60
LARGEST_CSV = 2_000_000
LEAVE_COLUMNS = ("id", "first_day", "last_day")
TABLES = (*KIND_OF_FIELD, LEAVE)


@dataclass(frozen=True)
class CellRow:
    """A row as read: its number, its cells as text, and what is wrong with them already."""

    number: int
    cells: tuple[str, ...]
    wrong: str = ""


def read_csv(content: bytes, name: str, stem: str) -> ImportSource:
    """A CSV file. `stem` or the header tells its kind. Raises PlannerError."""
    text = strict_yaml.decode(content, name)
    first = next((line for line in text.splitlines() if line.strip(" ;\t,")), "")
    separator = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[CellRow] = []
    try:
        for cells in reader:
            if len(rows) > MOST_ROWS:
                raise too_many(name)
            if any(cell.strip() for cell in cells):
                rows.append(CellRow(reader.line_num, tuple(map(_unguarded, cells))))
    except csv.Error as error:
        what, where = "has a quote or a cell that does not end", f"{name} row {reader.line_num}"
        raise PlannerError.one(what, where, str(error)) from None
    return source_of(name, stem, rows)


def _unguarded(cell: str) -> str:
    """A cell without the mark that keeps a spreadsheet from reckoning it."""
    cell = cell.strip()
    return cell[1:] if cell.startswith("'") and guarded(cell[1:]) == cell else cell


def too_many(name: str) -> PlannerError:
    why = f"more than {MOST_ROWS:,} rows; no roster of a unit has as many"
    return PlannerError.one("is too long", name, why, "the rows of the roster alone, in a new file")


def source_of(name: str, stem: str, rows: Sequence[CellRow]) -> ImportSource:
    """What rows say, the first of them a header. Raises PlannerError where it does not tell what they are."""
    if not rows:
        raise PlannerError.one("holds no row", name)
    header = rows[0]
    if header.wrong:
        raise PlannerError.one(header.wrong, f"{name} row {header.number}", hint="a header line of single cells")
    heads = [cell.strip().lower().replace(" ", "_") for cell in header.cells]
    while heads and not heads[-1]:
        heads.pop()
    columns = tuple(head for head in heads if head != WHY)
    table = _table_of(name, stem, columns)
    found: list[ImportRow] = []
    aside: list[RowSetAside] = []
    for row in rows[1:]:
        where = f"{name} row {row.number}"
        cells = row.cells + ("",) * (len(heads) - len(row.cells))
        said = [(head, cell) for head, cell in zip(heads, cells, strict=False) if head != WHY]
        original = tuple(cell for _, cell in said)
        beyond = next(filter(None, cells[len(heads) :]), "")
        try:
            if row.wrong or beyond:
                raise ValueError(row.wrong or f"{beyond[:40]!r} stands under no header")
            read = _leave if table == LEAVE else _entry
            found.append(read(where, original, table, dict(said)))
        except ValueError as error:
            aside.append(RowSetAside(where, str(error), original))
    return ImportSource(name, columns, tuple(found), tuple(aside))


def _table_of(name: str, stem: str, columns: Sequence[str]) -> str:
    """Which table this is: by its name, else by its header where that fits one alone."""
    named = stem.lower().removesuffix(".set-aside").rpartition(".")[2]
    repeated = next((column for column in columns if columns.count(column) > 1), None)
    if repeated is not None:
        raise PlannerError.one(f"the column {repeated!r} stands twice", name, hint="keep one")
    if named in TABLES:
        known = _columns(named)
        unknown = next((column for column in columns if column not in known), None)
        if unknown is not None:
            what = f"no column {unknown!r} in the table of {named}"
            raise PlannerError.one(what, name, f"it has {', '.join(known)}", nearest(unknown, known))
        identity = ("id",) if named == LEAVE else KIND_OF_FIELD[named].identity
        missing = next((column for column in identity if column not in columns), None)
        if missing is not None:
            raise PlannerError.one(f"there is no column `{missing}`", name, "an entry goes by it", missing)
        return named
    fits = [table for table in TABLES if _fits(table, columns)]
    if len(fits) == 1:
        return fits[0]
    hint = f"call the file or the sheet by what it holds: {', '.join(TABLES)}"
    raise PlannerError.one("does not tell what its rows are", name, "its header fits no table, or several", hint)


def _columns(table: str) -> tuple[str, ...]:
    if table == LEAVE:
        return LEAVE_COLUMNS
    return tuple(field.name for field in fields_of(KIND_OF_FIELD[table].shape))


def _fits(table: str, columns: Sequence[str]) -> bool:
    if table == LEAVE:
        return set(columns) == set(LEAVE_COLUMNS)
    needed = {field.name for field in fields_of(KIND_OF_FIELD[table].shape) if field.required}
    return bool(columns) and needed <= set(columns) <= set(_columns(table))


def _entry(where: str, original: tuple[str, ...], table: str, said: dict[str, str]) -> ImportRow:
    kind = KIND_OF_FIELD[table]
    fields = {field.name: field for field in fields_of(kind.shape)}
    says, wrong = {}, []
    for column, cell in said.items():
        try:
            says[column] = read_cell(fields[column], cell)
        except ValueError as error:
            wrong.append(f"{column}: {error}")
    if wrong:
        raise ValueError("; ".join(wrong))
    key = kind.key_of(says)
    if kind.listed and not key:
        raise ValueError(f"{' or '.join(kind.identity)} is missing")
    return ImportRow(where, original, kind.name, key, says)


def _leave(where: str, original: tuple[str, ...], table: str, said: dict[str, str]) -> ImportRow:
    first, last = (read_cell(EntryField(name, "day", True), said.get(name, "")) for name in LEAVE_COLUMNS[1:])
    if first is None:
        raise ValueError("first_day is missing")
    days = days_between(datetime.date.fromisoformat(first), datetime.date.fromisoformat(last or first))
    return ImportRow(where, original, table, said.get("id", "").strip(), away=tuple(map(str, days)))


def table_rows(table: str, entries: Iterable[RosterEntry]) -> tuple[tuple[str, ...], list[list[str]]]:
    """The header and rows of one table."""
    if table == LEAVE:
        people = [entry for entry in entries if entry.kind in PEOPLE]
        return LEAVE_COLUMNS, [[one.key, day, day] for one in people for day in map(str, one.document.get("leave", []))]
    kind = KIND_OF_FIELD[table]
    fields = fields_of(kind.shape)
    documents = [entry.document for entry in entries if entry.kind == kind.name]
    return _columns(table), [[cell_of(field, one.get(field.name)) for field in fields] for one in documents]


def as_csv(table: str, entries: Iterable[RosterEntry]) -> bytes:
    return csv_text(*table_rows(table, entries)).encode()
