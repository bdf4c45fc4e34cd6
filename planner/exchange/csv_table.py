"""A CSV table of cases: one row a case, findings as headers, as spreadsheets export it.

Semicolon, tab or comma is told from the header line; blank lines and wholly empty nameless columns are passed over.
Whatever could put a value under the wrong header is refused.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from planner.case import HEADINGS
from planner.errors import Fault, PlannerError
from planner.exchange.case_text import WHY, CaseText, separator_of
from planner.vocabulary import Vocabulary

_CASE_HEADINGS = tuple(heading for heading in HEADINGS if heading != "findings")
_COMMA_NUMBER = re.compile(r"-?\d+,\d+")


@dataclass(frozen=True)
class CsvRow:
    """One row: the line of the file it starts on, and its cells without surrounding blanks."""

    line: int
    cells: tuple[str, ...]


class CsvTable:
    """The rows of one CSV source. Raises PlannerError for a header or quotes that cannot be trusted."""

    def __init__(self, source: CaseText, vocabulary: Vocabulary) -> None:
        self.source = source
        self.vocabulary = vocabulary
        self.separator, self.header_line = self._find_header()
        header, *_ = self._records(self.header_line)
        self.columns = header.cells
        self.total = self._check()

    def rows(self) -> Iterator[CsvRow]:
        """Every row that holds something, in order."""
        for row in self._records(self.header_line):
            if row.line > self.header_line and any(row.cells):
                yield row

    def place(self, row: CsvRow, column: str = "") -> str:
        return f"{self.source.name} row {row.line}" + (f", column {column}" if column else "")

    def raw_case(self, row: CsvRow) -> tuple[dict[str, Any], list[Fault]]:
        """The row as plain data for `read_case`; an empty cell is left out. Faults are of the row's shape."""
        faults = self._misplaced(row)
        findings: dict[str, str] = {}
        raw: dict[str, Any] = {"findings": findings}
        for column, cell in zip(self.columns, row.cells, strict=False):
            if not cell or column in ("", WHY):
                continue
            if column in _CASE_HEADINGS:
                raw[column] = cell
            else:
                findings[column] = self._plain(column, cell)
        return raw, faults

    def _plain(self, column: str, cell: str) -> str:
        """What a spreadsheet wrote of itself put back: decimal commas, and TRUE and FALSE."""
        kind = self.vocabulary.by_id[self.vocabulary.aliases.get(column, column)].kind
        if kind == "number" and _COMMA_NUMBER.fullmatch(cell):
            return cell.replace(",", ".")
        return cell.lower() if kind == "yes-no" and cell in ("TRUE", "FALSE") else cell

    def _misplaced(self, row: CsvRow) -> list[Fault]:
        """Cells that may stand under the wrong header."""
        width, comma = len(self.columns), self.separator == ","
        faults = []
        # In a comma-separated row even an empty cell too many shows that some value may have been split.
        more = [cell for cell in row.cells[width:] if cell or comma]
        if more:
            what = f"more cells than headers; {more[-1][:40]!r} is left over"
            why = "a separator inside a value moves all later values into the wrong column"
            hint = 'write 2.3, or "2,3" in quotes' if comma else "put a value that holds the separator in quotes"
            faults.append(Fault(self.place(row, self._split_number(row) or str(width + 1)), what, why, hint))
        elif len(row.cells) < width and comma:
            what = f"{len(row.cells)} cells for {width} headers"
            why = "a lost cell, or a decimal comma, would move values into the wrong column"
            column = self._split_number(row) or self.columns[len(row.cells)] or str(len(row.cells) + 1)
            faults.append(Fault(self.place(row, column), what, why, "write a comma for every empty cell too"))
        for number, (column, cell) in enumerate(zip(self.columns, row.cells, strict=False), 1):
            if cell and not column:
                what = f"{cell[:40]!r} stands under no header"
                faults.append(Fault(self.place(row, str(number)), what, hint="name the column, or empty it"))
        return faults

    def _split_number(self, row: CsvRow) -> str:
        """The first number column whose value and next cell look like one number split at its decimal comma."""
        if self.separator == ",":
            for column, cell, after in zip(self.columns, row.cells, row.cells[1:], strict=False):
                finding = self.vocabulary.by_id.get(column)
                if finding is not None and finding.kind == "number" and cell.lstrip("-").isdigit() and after.isdigit():
                    return column
        return ""

    def _find_header(self) -> tuple[str, int]:
        said = ""
        for number, line in enumerate(io.StringIO(self.source.text, newline=""), 1):
            if re.fullmatch(r"sep=.\s*", line, re.IGNORECASE):
                said = line[4]
            elif line.strip(" \r\n" + ";\t,"):
                return said or separator_of(line), number
        raise PlannerError.one("has no header line", self.source.name, hint="planner intake --csv prints one")

    def _records(self, start: int) -> Iterator[CsvRow]:
        """Every record from a line on, each with the line it starts on."""
        lines = io.StringIO(self.source.text, newline="")
        for _ in range(start - 1):
            next(lines)
        reader = csv.reader(lines, delimiter=self.separator, strict=True)
        line = start
        try:
            for cells in reader:
                yield CsvRow(line, tuple(cell.strip() for cell in cells))
                line = start + reader.line_num
        except csv.Error as error:
            what, where = "has a quote or a cell that does not end", f"{self.source.name} row {line}"
            raise PlannerError.one(what, where, str(error), 'write a quote inside a quoted text twice: ""') from None

    def _check(self) -> int:
        """The number of rows, once the header is found sound and every quote is closed."""
        known = {*_CASE_HEADINGS, *self.vocabulary.by_id, *self.vocabulary.aliases, WHY}
        faults: list[Fault] = []
        seen: set[str] = set()
        row = CsvRow(self.header_line, self.columns)
        for column in filter(None, self.columns):
            where = self.place(row, column[:60])
            if column in seen:
                faults.append(Fault(where, "the column stands twice", "one of the two would be lost", "keep one"))
            elif column not in known:
                faults.append(Fault(where, "no finding has this name", hint=self._nearest(column)))
            seen.add(column)
        for needed in ("case", "eye"):
            if needed not in seen:
                what, why = f"there is no column `{needed}`", "a plan names its case and its eye"
                faults.append(Fault(self.place(row), what, why, "planner intake --csv prints a whole header line"))
        if faults:
            raise PlannerError(faults)
        total = sum(1 for _ in self.rows())
        if not total:
            raise PlannerError.one("has a header and no rows", self.source.name, hint="add one row for each case")
        return total

    def _nearest(self, column: str) -> str:
        known, said = [*_CASE_HEADINGS, *self.vocabulary.by_id], column.strip().lower().replace(" ", "_")
        close = difflib.get_close_matches(said, known, 1, 0.6) or [name for name in known if said and said in name]
        lost = "what it says is lost if the column is removed"
        return f"did you mean {close[0]}? {lost}" if close else f"planner intake --csv names all; {lost}"
