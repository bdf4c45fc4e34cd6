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
from planner.lists.roster.entries import KINDS, Kind, Part
from planner.lists.roster.fields import Field, cell_of, days_between, fields_of, read_cell
from planner.lists.roster.import_rows import LEAVE, PEOPLE, WHY, Aside, Given, Row
from planner.records.export import guarded
from planner.rulebook.references import nearest

MOST_ROWS = 2_000
MOST_COLUMNS = 60
LARGEST_CSV = 2_000_000
LEAVE_COLUMNS = ("id", "first_day", "last_day")
TABLES = (*(kind.field for kind in KINDS.values()), LEAVE)


@dataclass(frozen=True)
class Line:
    """A row as read: its number, its cells as text, and what is wrong with them already."""

    number: int
    cells: tuple[str, ...]
    wrong: str = ""


def read_csv(content: bytes, name: str, stem: str) -> Given:
    """A CSV file. `stem` or the header tells its kind; Raises PlannerError."""
    text = strict_yaml.decode(content, name)
    first = next((line for line in text.splitlines() if line.strip(" ;\t,")), "")
    separator = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines: list[Line] = []
    try:
        for cells in reader:
            if len(lines) > MOST_ROWS:
                raise too_many(name)
            if any(cell.strip() for cell in cells):
                lines.append(Line(reader.line_num, tuple(map(_unguarded, cells))))
    except csv.Error as error:
        what, where = "has a quote or a cell that does not end", f"{name} row {reader.line_num}"
        raise PlannerError.one(what, where, str(error)) from None
    return given_of(name, stem, lines)


def _unguarded(cell: str) -> str:
    """A cell without the mark that keeps a spreadsheet from reckoning it."""
    cell = cell.strip()
    return cell[1:] if cell.startswith("'") and guarded(cell[1:]) == cell else cell


def too_many(name: str) -> PlannerError:
    why = f"more than {MOST_ROWS:,} rows; no roster of a unit has as many"
    return PlannerError.one("is too long", name, why, "the rows of the roster alone, in a new file")


def given_of(name: str, stem: str, lines: Sequence[Line]) -> Given:
    if not lines:
        raise PlannerError.one("holds no row", name)
    header = lines[0]
    if header.wrong:
        raise PlannerError.one(header.wrong, f"{name} row {header.number}", hint="a header line of single cells")
    columns = [cell.strip().lower().replace(" ", "_") for cell in header.cells]
    while columns and not columns[-1]:
        columns.pop()
    table = _table_of(name, stem, [column for column in columns if column != WHY])
    rows: list[Row] = []
    aside: list[Aside] = []
    for line in lines[1:]:
        where = f"{name} row {line.number}"
        cells = line.cells + ("",) * (len(columns) - len(line.cells))
        original = tuple(cell for column, cell in zip(columns, cells, strict=False) if column != WHY)
        wrong = line.wrong
        if not wrong and any(cells[len(columns) :]):
            wrong = f"{next(filter(None, cells[len(columns) :]))[:40]!r} stands under no header"
        said = {column: cell for column, cell in zip(columns, cells, strict=False) if column != WHY}
        try:
            if wrong:
                raise ValueError(wrong)
            rows.append(_leave(where, original, said) if table == LEAVE else _row(where, original, table, said))
        except ValueError as error:
            aside.append(Aside(where, str(error), original))
    return Given(name, tuple(column for column in columns if column != WHY), tuple(rows), tuple(aside))


def _table_of(name: str, stem: str, columns: Sequence[str]) -> str:
    """Which table this is: by its name, else by its header where that fits one alone."""
    named = stem.lower().removesuffix(".set-aside").rpartition(".")[2]
    fits = [table for table in TABLES if _fits(table, columns)]
    repeated = next((column for column in columns if columns.count(column) > 1), None)
    if repeated is not None:
        raise PlannerError.one(f"the column {repeated!r} stands twice", name, hint="keep one")
    if named in TABLES:
        known = _columns(named)
        unknown = next((column for column in columns if column not in known), None)
        if unknown is not None:
            what = f"no column {unknown!r} in the table of {named}"
            raise PlannerError.one(what, name, f"it has {', '.join(known)}", nearest(unknown, known))
        missing = next((column for column in _identity(named) if column not in columns), None)
        if missing is not None:
            raise PlannerError.one(f"there is no column `{missing}`", name, "an entry goes by it", missing)
        return named
    if len(fits) == 1:
        return fits[0]
    hint = f"call the file or the sheet by what it holds: {', '.join(TABLES)}"
    raise PlannerError.one("does not tell what its rows are", name, "its header fits no table, or several", hint)


def _columns(table: str) -> tuple[str, ...]:
    if table == LEAVE:
        return LEAVE_COLUMNS
    return tuple(field.name for field in fields_of(_kind(table).shape))


def _identity(table: str) -> tuple[str, ...]:
    return ("id",) if table == LEAVE else _kind(table).identity


def _kind(table: str) -> Kind:
    return next(kind for kind in KINDS.values() if kind.field == table)


def _fits(table: str, columns: Sequence[str]) -> bool:
    if table == LEAVE:
        return set(columns) == set(LEAVE_COLUMNS)
    needed = {field.name for field in fields_of(_kind(table).shape) if field.required}
    return bool(columns) and needed <= set(columns) <= set(_columns(table))


def _row(where: str, original: tuple[str, ...], table: str, said: dict[str, str]) -> Row:
    kind = _kind(table)
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
    return Row(where, original, kind.name, key, says)


def _leave(where: str, original: tuple[str, ...], said: dict[str, str]) -> Row:
    day = Field("leave", "day", True)
    first = read_cell(day, said.get("first_day", ""))
    if first is None:
        raise ValueError("first_day is missing")
    last = read_cell(day, said.get("last_day", "")) or first
    days = days_between(datetime.date.fromisoformat(first), datetime.date.fromisoformat(last))
    code = said.get("id", "").strip()
    return Row(where, original, LEAVE, code, away=tuple(day.isoformat() for day in days))


def table_rows(table: str, parts: Iterable[Part]) -> tuple[tuple[str, ...], list[list[str]]]:
    """The header and rows of one table."""
    parts = list(parts)
    if table == LEAVE:
        people = [part for part in parts if part.kind in PEOPLE]
        return LEAVE_COLUMNS, [
            [part.key, day, day] for part in people for day in map(str, part.document.get("leave", []))
        ]
    kind = _kind(table)
    fields = fields_of(kind.shape)
    rows = [
        [cell_of(field, part.document.get(field.name)) for field in fields] for part in parts if part.kind == kind.name
    ]
    return tuple(field.name for field in fields), rows


def as_csv(table: str, parts: Iterable[Part]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    header, rows = table_rows(table, parts)
    writer.writerow(header)
    writer.writerows([guarded(cell) for cell in row] for row in rows)
    return text.getvalue().encode()
