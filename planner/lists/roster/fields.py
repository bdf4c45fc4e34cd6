"""What each entry of the roster may hold, told from its shape alone: for a cell of a table, and a field of a form."""

from __future__ import annotations

import datetime
import re
import types
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from planner.lists.roster.entries import number

FieldSort = Literal["text", "number", "yes-no", "day", "time", "one-of", "some-of", "days", "names", "rows"]
LISTED = ("days", "names", "some-of")
NONE = "none"  # a list that is known to be empty; an empty cell says nothing
LONGEST_RANGE = 366
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_PARTS = re.compile(r"[+,;\n]")


@dataclass(frozen=True)
class EntryField:
    """One field of a shape. `allowed` are the words of a choice; `inside` what each row holds, "" alone a plain value.

    `keys` are the words that the rows may go by, () for any.
    """

    name: str
    sort: FieldSort
    required: bool
    allowed: tuple[str, ...] = ()
    inside: tuple[EntryField, ...] = ()
    keys: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        return self.name.replace("_", " ").capitalize()


@cache
def fields_of(shape: type[BaseModel]) -> tuple[EntryField, ...]:
    """The fields of a shape in its order."""
    return tuple(_field(name, about.annotation, about.is_required()) for name, about in shape.model_fields.items())


def _field(name: str, shape: Any, required: bool = False) -> EntryField:
    shape = _plain(shape)
    if get_origin(shape) is list:
        inside = _plain(get_args(shape)[0])
        if inside is datetime.date:
            return EntryField(name, "days", required)
        return EntryField(name, "some-of" if get_origin(inside) is Literal else "names", required, _words(inside))
    if get_origin(shape) is dict:
        key, value = map(_plain, get_args(shape))
        is_shape = isinstance(value, type) and issubclass(value, BaseModel)
        rows = fields_of(value) if is_shape else (_field("", value),)
        return EntryField(name, "rows", required, inside=rows, keys=_words(key))
    if get_origin(shape) is Literal:
        return EntryField(name, "one-of", required, _words(shape))
    sorts: dict[Any, FieldSort] = {
        bool: "yes-no", int: "number", float: "number", datetime.date: "day", datetime.time: "time"
    }  # fmt: skip
    return EntryField(name, sorts.get(shape, "text"), required)


def _plain(shape: Any) -> Any:
    """A shape without what annotates it or makes it optional."""
    while get_origin(shape) in (Annotated, Union, types.UnionType):
        shape = next(one for one in get_args(shape) if one is not type(None))
    return shape


def _words(shape: Any) -> tuple[str, ...]:
    return tuple(map(str, get_args(shape))) if get_origin(shape) is Literal else ()


def cell_of(field: EntryField, value: Any) -> str:
    """A value of an entry as one line of text; `read_cell` gives it back."""
    if value is None:
        return ""
    if field.sort in LISTED and not value:
        return NONE
    if field.sort == "days":
        return " + ".join(_in_runs([str(day) for day in value]))
    if field.sort in ("names", "some-of"):
        return " + ".join(map(str, value))
    if field.sort == "rows":
        return "; ".join(f"{key}: {_row_of(field, value[key])}" for key in sorted(value))
    return number(value) if isinstance(value, float) else str(value)


def _row_of(field: EntryField, value: Any) -> str:
    if not isinstance(value, Mapping):
        return cell_of(field.inside[0], value)
    return ", ".join(
        f"{inner.name} {cell_of(inner, value[inner.name])}" for inner in field.inside if inner.name in value
    )


def _in_runs(days: list[str]) -> Iterator[str]:
    """Days as written, three or more in a row as `first to last`."""
    try:
        dates = [datetime.date.fromisoformat(day) for day in days]
    except ValueError:
        yield from days
        return
    for run in runs(dates):
        yield from [f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run)


def runs(days: Iterable[datetime.date]) -> list[list[datetime.date]]:
    """Days in groups of those that follow each other."""
    found: list[list[datetime.date]] = []
    for day in days:
        if found and day - found[-1][-1] == datetime.timedelta(days=1):
            found[-1].append(day)
        else:
            found.append([day])
    return found


def read_cell(field: EntryField, text: str) -> Any:
    """A cell as a sessions file would write it, None for an empty one. Raises ValueError with what is wrong with it."""
    text = text.strip()
    if not text:
        return None
    if field.sort in LISTED and text.lower() == NONE:
        return []
    if field.sort == "days":
        return list(_days(text))
    if field.sort in ("names", "some-of"):
        return [part.strip() for part in _PARTS.split(text) if part.strip()]
    if field.sort == "rows":
        return dict(_rows(field, text))
    if field.sort == "day":
        return _day(text).isoformat()
    if field.sort == "yes-no" and text.lower() in ("true", "false", "yes", "no"):
        return "yes" if text.lower() in ("true", "yes") else "no"
    if field.sort == "time" and re.fullmatch(r"\d:\d\d", text):
        return f"0{text}"
    return text


def _days(text: str) -> Iterator[str]:
    for part in _PARTS.split(text):
        if part.strip():
            first, _, last = part.strip().partition(" to ")
            yield from (day.isoformat() for day in days_between(_day(first), _day(last or first)))


def days_between(first: datetime.date, last: datetime.date) -> list[datetime.date]:
    """Both days and all between. Raises ValueError for a span that is backwards or longer than a year."""
    count = (last - first).days
    if not 0 <= count < LONGEST_RANGE:
        said = "ends before it begins" if count < 0 else f"has more than {LONGEST_RANGE} days"
        raise ValueError(f"{first} to {last} {said}")
    return [first + datetime.timedelta(days=later) for later in range(count + 1)]


def _day(text: str) -> datetime.date:
    text = text.strip()
    if _DAY.fullmatch(text):
        try:
            return datetime.date.fromisoformat(text)
        except ValueError:
            pass
    raise ValueError(f"{text[:40]!r} is not a day; write it like 2026-12-01")


def _rows(field: EntryField, text: str) -> Iterator[tuple[str, Any]]:
    seen = set()
    for part in re.split(r"[;\n]", text):
        if not part.strip():
            continue
        key, colon, said = part.partition(":")
        key = key.strip()
        if not colon or not key:
            raise ValueError(f"{part.strip()[:40]!r} is no row; write it like {example(field)}")
        if key in seen:
            raise ValueError(f"{key[:40]!r} stands twice")
        seen.add(key)
        if field.inside[0].name == "":
            yield key, said.strip()
        else:
            yield key, dict(_named(field, said))


def _named(field: EntryField, said: str) -> Iterator[tuple[str, str]]:
    for piece in filter(None, map(str.strip, said.split(","))):
        name, _, value = piece.partition(" ")
        if not value.strip():
            raise ValueError(f"{piece[:40]!r} has no value; write it like {example(field)}")
        yield name, value.strip()


def example(field: EntryField) -> str:
    """How a row is written."""
    if field.inside[0].name == "":
        return f"{(field.keys or ('name',))[0]}: 1"
    return f"name: {', '.join(f'{inner.name} 1' for inner in field.inside)}"
