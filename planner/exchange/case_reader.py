"""Cases from YAML, JSON, CSV or standard input, each read against the vocabulary, or set aside with the reason."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from planner import strict_yaml
from planner.case import Case, read_case
from planner.errors import Fault, PlannerError
from planner.exchange.case_text import WHY, CaseText, read_source
from planner.exchange.csv_table import CsvRow, CsvTable
from planner.exchange.json_cases import JsonItem, read_items
from planner.strict_yaml import Place
from planner.vocabulary import Vocabulary
from planner.wording.words import eye_words


@dataclass(frozen=True)
class ReadCase:
    """A good case. `original` is what stood for it in its source, None where the whole source is the one case."""

    source: str
    where: str
    case: Case
    original: CsvRow | JsonItem | None


@dataclass(frozen=True)
class SetAside:
    """What could not be taken as a case, and every fault found in it."""

    source: str
    where: str
    faults: list[Fault]
    original: CsvRow | JsonItem | None

    @property
    def why(self) -> str:
        return " | ".join(str(fault) for fault in self.faults)


@dataclass(frozen=True)
class CaseSource:
    """The cases of one source, read as they are asked for; `total` counts the bad ones too."""

    name: str
    stem: str
    total: int
    table: CsvTable | None
    read: Callable[[], Iterator[ReadCase | SetAside]]

    def __iter__(self) -> Iterator[ReadCase | SetAside]:
        return self.read()


def read_cases(source: str, vocabulary: Vocabulary) -> CaseSource:
    """The cases of a path, or of standard input for `-`. Raises PlannerError when no case of it can be trusted."""
    text = read_source(source)
    table = CsvTable(text, vocabulary) if text.format == "csv" else None
    items = read_items(text) if text.format in ("json", "json-lines") else []

    def read() -> Iterator[ReadCase | SetAside]:
        found = _rows(table) if table else _items(items) if items else _document(text)
        return (_typed(text.name, vocabulary, *raw) for raw in found)

    return CaseSource(text.name, text.stem, table.total if table else len(items) or 1, table, read)


def once_each(items: Iterable[ReadCase | SetAside]) -> Iterator[ReadCase | SetAside]:
    """The same items, any further one for a case and eye already met set aside."""
    first: dict[tuple[str, str], str] = {}
    for item in items:
        if isinstance(item, ReadCase):
            key = (item.case.reference, item.case.eye)
            if key in first:
                what = f"a second case {eye_words(item.case.reference, item.case.eye)}"
                fault = Fault(item.where, what, f"first at {first[key]}", "keep the one that is right")
                item = SetAside(item.source, item.where, [fault], item.original)
            else:
                first[key] = item.where
        yield item


# What stands for a case: where, its plain data, the place of each value in it, the original, and faults of its form.
_RawCase = tuple[str, Any, Callable[[Place], str], CsvRow | JsonItem | None, Sequence[Fault]]


def _typed(
    source: str,
    vocabulary: Vocabulary,
    where: str,
    data: Any,
    place: Callable[[Place], str],
    original: CsvRow | JsonItem | None,
    faults: Sequence[Fault],
) -> ReadCase | SetAside:
    if not faults:
        try:
            return ReadCase(source, where, read_case(data, vocabulary, where, place), original)
        except PlannerError as error:
            faults = error.faults
    return SetAside(source, where, list(faults), original)


def _document(text: CaseText) -> Iterator[_RawCase]:
    try:
        document = strict_yaml.read(text.text, text.name)
        yield text.name, document.data, document.at, None, ()
    except PlannerError as error:
        yield text.name, None, str, None, error.faults


def _items(items: list[JsonItem]) -> Iterator[_RawCase]:
    for item in items:
        faults = item.error.faults if item.error else ()
        yield item.where, item.value, partial(_json_place, item.where), item if len(items) > 1 else None, faults


def _json_place(where: str, path: Place) -> str:
    return f"{where}, {'.'.join(str(part)[:60] for part in path)}" if path else where


def _rows(table: CsvTable) -> Iterator[_RawCase]:
    for row in table.rows():
        raw, faults = table.raw_case(row)
        yield table.place(row), raw, partial(_cell_place, table, row), row, faults


def _cell_place(table: CsvTable, row: CsvRow, path: Place) -> str:
    columns = [part for part in path if isinstance(part, str) and part != "findings"]
    return table.place(row, columns[0] if columns else "")


def set_aside_file(source: CaseSource, refused: list[SetAside]) -> tuple[str, bytes] | None:
    """Name and content of the file for one source, CSV or a JSON object a line; None for a file that is one case."""
    rows = [(item.why, item.original) for item in refused if isinstance(item.original, CsvRow)]
    if source.table is not None and rows:
        text = io.StringIO()
        writer = csv.writer(text, delimiter=source.table.separator, lineterminator="\n")
        writer.writerow([WHY, *source.table.columns])
        writer.writerows([why, *row.cells] for why, row in rows)
        return f"{source.stem}.set-aside.csv", text.getvalue().encode()
    items = [(item.why, item.original) for item in refused if isinstance(item.original, JsonItem)]
    if items:
        lines = [json.dumps({WHY: why, **_members(item)}, ensure_ascii=False) for why, item in items]
        return f"{source.stem}.set-aside.jsonl", "".join(f"{line}\n" for line in lines).encode(errors="surrogatepass")
    return None


def _members(item: JsonItem) -> dict[str, object]:
    if isinstance(item.value, dict):
        return item.value
    return {"text": item.text} if item.error is not None else {"value": item.value}
