"""Cases from YAML, JSON, CSV or standard input, each read against the vocabulary, or set aside with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from planner import strict_yaml
from planner.case import Case, read_case
from planner.errors import Fault, PlannerError
from planner.exchange.json_cases import Item, read_items
from planner.exchange.source import Source, read_source
from planner.exchange.table import Row, Table
from planner.vocabulary import Vocabulary


@dataclass(frozen=True)
class ReadCase:
    """A good case. `original` is what stood in the source: a CSV row, a JSON item, or None for a file of one case."""

    where: str
    case: Case
    original: Row | Item | None


@dataclass(frozen=True)
class SetAside:
    """What could not be taken as a case, and every fault found in it."""

    where: str
    faults: list[Fault]
    original: Row | Item | None

    @property
    def why(self) -> str:
        return " | ".join(str(fault) for fault in self.faults)


@dataclass(frozen=True)
class Cases:
    """The cases of one source, read as they are asked for. `columns` is the header of a CSV source, () for others."""

    name: str
    stem: str
    total: int
    columns: tuple[str, ...]
    read: Callable[[], Iterator[ReadCase | SetAside]]

    def __iter__(self) -> Iterator[ReadCase | SetAside]:
        return self.read()


def read_cases(source: str, vocabulary: Vocabulary) -> Cases:
    """The cases of a path, or of standard input for `-`. Raises PlannerError when no case of it can be trusted.

    Within one source a second row for the same case and eye is set aside.
    """
    text = read_source(source)
    match text.format:
        case "yaml":
            return Cases(text.name, text.stem, 1, (), lambda: iter([_from_yaml(text, vocabulary)]))
        case "csv":
            table = Table(text, vocabulary)
            return Cases(text.name, text.stem, table.total, table.columns, lambda: _once_each(_from_table(table)))
        case _:
            items = read_items(text)
            return Cases(text.name, text.stem, len(items), (), lambda: _once_each(_from_json(items, vocabulary)))


def _from_yaml(text: Source, vocabulary: Vocabulary) -> ReadCase | SetAside:
    try:
        document = strict_yaml.read(text.text, text.name)
        return ReadCase(text.name, read_case(document.data, vocabulary, text.name, document.at), None)
    except PlannerError as error:
        return SetAside(text.name, error.faults, None)


def _from_json(items: list[Item], vocabulary: Vocabulary) -> Iterator[ReadCase | SetAside]:
    for item in items:
        try:
            if item.error is not None:
                raise item.error
            yield ReadCase(item.where, read_case(item.value, vocabulary, item.where, _json_place(item.where)), item)
        except PlannerError as error:
            yield SetAside(item.where, error.faults, item)


def _json_place(where: str) -> Callable[[tuple[str | int, ...]], str]:
    return lambda path: f"{where}, {'.'.join(str(part)[:60] for part in path)}" if path else where


def _from_table(table: Table) -> Iterator[ReadCase | SetAside]:
    for row in table.rows():
        raw, faults = table.raw_case(row)
        if faults:
            yield SetAside(table.place(row), faults, row)
            continue

        def place(path: tuple[str | int, ...], row: Row = row) -> str:
            named = [part for part in path if isinstance(part, str) and part != "findings"]
            return table.place(row, named[0] if named else "")

        try:
            yield ReadCase(table.place(row), read_case(raw, table.vocabulary, table.place(row), place), row)
        except PlannerError as error:
            yield SetAside(table.place(row), error.faults, row)


def _once_each(items: Iterator[ReadCase | SetAside]) -> Iterator[ReadCase | SetAside]:
    first: dict[tuple[Any, ...], str] = {}
    for item in items:
        if isinstance(item, ReadCase):
            key = (item.case.reference, item.case.eye)
            if key in first:
                what = f"a second case {item.case.reference}, {item.case.eye} eye"
                fault = Fault(item.where, what, f"first at {first[key]}", "keep the one that is right")
                item = SetAside(item.where, [fault], item.original)
            else:
                first[key] = item.where
        yield item
