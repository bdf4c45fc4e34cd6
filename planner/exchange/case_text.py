"""Where cases come from: a file or standard input, read up to a limit, as text of a known format."""

from __future__ import annotations

import csv
import io
import itertools
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from planner import strict_yaml
from planner.errors import PlannerError

Format = Literal["yaml", "json", "json-lines", "csv"]
STANDARD_INPUT = "-"
# The column or key that a file of what was set aside adds; corrected, such a file can be given again as it is.
WHY = "why"
SEPARATORS = ";\t,"
_BY_ENDING: dict[str, Format] = {
    ".yaml": "yaml",
    ".yml": "yaml",
    ".json": "json",
    ".jsonl": "json-lines",
    ".ndjson": "json-lines",
    ".csv": "csv",
    ".tsv": "csv",
}
# A YAML file is one case; the others may hold a whole list, and only CSV and JSON Lines a register's worth.
LARGEST: dict[Format, int] = {"yaml": 1_000_000, "json": 10_000_000, "json-lines": 50_000_000, "csv": 50_000_000}
_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or an archive",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet or document",
}


@dataclass(frozen=True)
class CaseText:
    """The text of one source. `name` is how messages call it, `stem` what files made from it are called."""

    name: str
    stem: str
    format: Format
    text: str


def read_source(source: str) -> CaseText:
    """Read a path, or `-` for standard input. The ending names the format; without one it is told from the text.

    Raises PlannerError for what is missing, unreadable, a folder, too large, empty, or no text.
    """
    if source == STANDARD_INPUT:
        name, stem, known = "standard input", "standard-input", None
        content = _standard_input(max(LARGEST.values()))
    else:
        path = Path(source)
        name, stem, known = source, path.stem or "cases", _BY_ENDING.get(path.suffix.lower())
        content = strict_yaml.read_bytes(path, LARGEST[known] if known else max(LARGEST.values()))
    text = _decode(content, name)
    if not text.strip():
        raise PlannerError.one("is empty", name, hint="planner intake > case.yaml, and fill it in")
    form = known or _format_of(text)
    if len(content) > LARGEST[form]:
        what = f"is larger than {LARGEST[form]:,} bytes"
        raise PlannerError.one(what, name, f"no {form} of cases is that large", "check that it is the right file")
    return CaseText(name, stem, "json-lines" if form == "json" and _is_json_by_line(text) else form, text)


def _standard_input(largest: int) -> bytes:
    if sys.stdin is None:
        raise PlannerError.one("is closed", "standard input", hint="name a file")
    try:
        content = sys.stdin.buffer.read(largest + 1)
    except OSError as error:
        raise PlannerError.one(f"cannot be read: {error.strerror}", "standard input") from None
    if len(content) > largest:
        raise PlannerError.one(f"is larger than {largest:,} bytes", "standard input", hint="check what is sent to it")
    return content


def _decode(content: bytes, name: str) -> str:
    """Text of UTF-8, or of UTF-16 that says so by its byte order mark, as spreadsheets write it."""
    for start, kind in _NOT_TEXT.items():
        if content.startswith(start):
            raise PlannerError.one(f"is {kind}, not text", name, hint="save it as CSV (UTF-8), or give a YAML case")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            text = content.decode("utf-16")
        except UnicodeDecodeError:
            text = "\0"
        if "\0" not in text:
            return text
        why = "it starts as UTF-16 and does not go on so"
        raise PlannerError.one("is not a text file", name, why, "save it as UTF-8")
    return strict_yaml.decode(content, name)


def _format_of(text: str) -> Format:
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    if first.lstrip()[:1] in ("{", "["):
        return "json-lines" if _is_json_by_line(text) else "json"
    cells = {cell.strip() for cell in header_cells(first, separator_of(first))}
    return "csv" if {"case", "eye"} <= cells or first.lower().startswith("sep=") else "yaml"


def _is_json_by_line(text: str) -> bool:
    """Whether each of the first two lines looks like a whole JSON object."""
    lines = [line.strip() for line in itertools.islice((line for line in io.StringIO(text) if line.strip()), 2)]
    return len(lines) == 2 and all(line.startswith("{") and line.endswith("}") for line in lines)


def separator_of(header: str) -> str:
    """The separator that parts a header line into the most cells (semicolon, tab or comma)."""
    return max(SEPARATORS, key=lambda separator: len(header_cells(header, separator)))


def header_cells(header: str, separator: str) -> list[str]:
    """The cells of one line, quotes removed."""
    return next(csv.reader([header], delimiter=separator), [])
