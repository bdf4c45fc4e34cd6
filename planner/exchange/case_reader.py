"""Cases from YAML, JSON, CSV or standard input, each read against the vocabulary, or set aside with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from planner import strict_yaml
from planner.case import Case, read_case
from planner.errors import Fault, PlannerError
from planner.exchange.case_text import CaseText, read_source
from planner.exchange.csv_table import CsvRow, CsvTable
from planner.exchange.json_cases import JsonItem, read_items
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
    match text.format:
        case "yaml":
            return CaseSource(text.name, text.stem, 1, None, lambda: iter([_from_yaml(text, vocabulary)]))
        case "csv":
            table = CsvTable(text, vocabulary)
            return CaseSource(text.name, text.stem, table.total, table, lambda: _from_table(table))
        case _:
            items = read_items(text)
            return CaseSource(text.name, text.stem, len(items), None, lambda: _from_json(text.name, items, vocabulary))


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


def _from_yaml(text: CaseText, vocabulary: Vocabulary) -> ReadCase | SetAside:
    try:
        document = strict_yaml.read(text.text, text.name)
        return ReadCase(text.name, text.name, read_case(document.data, vocabulary, text.name, document.at), None)
    except PlannerError as error:
        return SetAside(text.name, text.name, error.faults, None)


def _from_json(name: str, items: list[JsonItem], vocabulary: Vocabulary) -> Iterator[ReadCase | SetAside]:
    for item in items:
        original = item if len(items) > 1 else None
        try:
            if item.error is not None:
                raise item.error
            case = read_case(item.value, vocabulary, item.where, _json_place(item.where))
            yield ReadCase(name, item.where, case, original)
        except PlannerError as error:
            yield SetAside(name, item.where, error.faults, original)


def _json_place(where: str) -> Callable[[tuple[str | int, ...]], str]:
    return lambda path: f"{where}, {'.'.join(str(part)[:60] for part in path)}" if path else where


def _from_table(table: CsvTable) -> Iterator[ReadCase | SetAside]:
    name = table.source.name
    for row in table.rows():
        where = table.place(row)
        raw, faults = table.raw_case(row)
        if faults:
            yield SetAside(name, where, faults, row)
            continue
        try:
            yield ReadCase(name, where, read_case(raw, table.vocabulary, where, _cell_place(table, row)), row)
        except PlannerError as error:
            yield SetAside(name, where, error.faults, row)


def _cell_place(table: CsvTable, row: CsvRow) -> Callable[[tuple[str | int, ...]], str]:
    def place(path: tuple[str | int, ...]) -> str:
        columns = [part for part in path if isinstance(part, str) and part != "findings"]
        return table.place(row, columns[0] if columns else "")

    return place
