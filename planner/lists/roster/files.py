"""The files that the roster is taken from and written to, told apart by the ending of their name."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from zoneinfo import ZoneInfo

from planner import strict_yaml
from planner.errors import Fault, PlannerError
from planner.lists.roster.entries import KIND_OF_FIELD, as_yaml
from planner.lists.roster.events import LARGEST_CALENDAR, CalendarReader, Events, sessions_calendar
from planner.lists.roster.import_rows import ImportRow, ImportSource
from planner.lists.roster.shapes import LARGEST_FILE
from planner.lists.roster.tables import LARGEST_CSV, MOST_ROWS, TABLES, as_csv, read_csv
from planner.lists.roster.workbook import LARGEST_BOOK, as_book, read_book
from planner.records.rows import RosterEntry
from planner.rulebook.references import nearest

LARGEST = {
    ".yaml": LARGEST_FILE, ".yml": LARGEST_FILE, ".csv": LARGEST_CSV, ".tsv": LARGEST_CSV,
    ".xlsx": LARGEST_BOOK, ".ics": LARGEST_CALENDAR,
}  # fmt: skip
COLUMNS = ("entry", "written")


def ending_of(name: str) -> str:
    """The ending that tells how a file is read. Raises PlannerError for one that is not."""
    ending = PurePath(name).suffix.lower()
    if ending not in LARGEST:
        hint = "save it as .xlsx" if ending in (".xls", ".ods", ".numbers") else f"one of {', '.join(LARGEST)}"
        raise PlannerError.one("is of no kind that is read here", name, hint=hint)
    return ending


def read_file(
    content: bytes,
    name: str,
    standing: Sequence[RosterEntry],
    zone: ZoneInfo | None,
    today: datetime.date,
    what: Events | None = None,
    names: Mapping[str, str] | None = None,
) -> list[ImportSource]:
    """What a file says, entry by entry. `what` an .ics file holds must be said. Raises PlannerError."""
    ending = ending_of(name)
    if len(content) > LARGEST[ending]:
        hint = "the rows of the roster alone"
        raise PlannerError.one(f"is larger than {LARGEST[ending]:,} bytes", name, hint=hint)
    if ending == ".ics":
        if what is None:
            hint = "say whether its events are leave or sessions"
            raise PlannerError.one("does not tell what its events are", name, hint=hint)
        return [CalendarReader(what, standing, zone, today, names or {}).read(content, name)]
    if ending == ".xlsx":
        return read_book(content, name)
    if ending in (".csv", ".tsv"):
        return [read_csv(content, name, PurePath(name).stem)]
    return [_read_yaml(content, name)]


def _read_yaml(content: bytes, name: str) -> ImportSource:
    """A sessions file, or a part of one: each entry whole."""
    document = strict_yaml.read(strict_yaml.decode(content, name), name)
    if not isinstance(document.data, dict) or not document.data:
        raise PlannerError.one("holds no roster", name, hint=f"one or more of {', '.join(KIND_OF_FIELD)}")
    faults, rows = [], []
    for field, value in document.data.items():
        where = document.at((field,))
        kind = KIND_OF_FIELD.get(field)
        if kind is None:
            why = f"known: {', '.join(KIND_OF_FIELD)}"
            faults.append(Fault(where, f"unknown key {field!r}", why, nearest(field, KIND_OF_FIELD)))
            continue
        if not isinstance(value, list if kind.listed else dict):
            shape = "a list" if kind.listed else "`key: value` lines"
            faults.append(Fault(where, f"`{field}` is not {shape}", hint="see demo_cases/lists/sessions.yaml"))
            continue
        for index, entry in enumerate(value) if kind.listed else [(0, value)]:
            place = document.at((field, index) if kind.listed else (field,))
            if not isinstance(entry, dict):
                faults.append(Fault(place, "is no entry", hint="see demo_cases/lists/sessions.yaml"))
                continue
            key = kind.key_of(entry)
            if kind.listed and not key:
                names = " or ".join(f"`{name}`" for name in kind.identity)
                faults.append(Fault(place, f"{names} is missing", "an entry goes by it", f"{kind.identity[0]}: ..."))
            else:
                rows.append(ImportRow(place, (kind.in_words(key), str(entry)), kind.name, key, entry, whole=True))
    if faults:
        raise PlannerError(faults)
    if len(rows) > MOST_ROWS:
        raise PlannerError.one("is too long", name, f"more than {MOST_ROWS:,} entries")
    return ImportSource(name, COLUMNS, tuple(rows))


def written_as(name: str, entries: Iterable[RosterEntry], zone: ZoneInfo | None, stamp: datetime.datetime) -> bytes:
    """The roster, without what is retired, as the file of that name: `.yaml` and `.xlsx` hold all of it,
    `sessions.csv` and the like one table, `.ics` the sessions. Raises PlannerError for a name that tells nothing."""
    ending, stem = ending_of(name), PurePath(name).stem.lower()
    standing = [entry for entry in entries if not entry.retired]
    if ending in (".yaml", ".yml"):
        return as_yaml(standing).encode()
    if ending == ".xlsx":
        return as_book(standing)
    if ending == ".ics":
        return sessions_calendar(standing, zone, stamp)
    if stem not in TABLES or ending != ".csv":
        hint = f"one of {', '.join(f'{table}.csv' for table in TABLES)}; or .xlsx, which holds them all"
        raise PlannerError.one("does not tell which table is meant", name, hint=hint)
    return as_csv(stem, standing)
