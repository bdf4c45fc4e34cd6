"""YAML read strictly: every scalar is text, every value has its line, and nothing is guessed or repaired.

Duplicate keys, tags, anchors and aliases, several documents and nesting without end are refused; what a scalar
means is decided by whoever knows its kind, so `no`, `0123` and `12:30` stay as written.
"""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from planner.errors import PlannerError

Place = tuple[str | int, ...]
_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
# What YAML itself makes of a plain scalar, list or mapping; any other tag was written by somebody.
_PLAIN_TAGS = {
    f"tag:yaml.org,2002:{kind}"
    for kind in ("str", "int", "float", "bool", "null", "timestamp", "value", "merge", "seq", "map")
}
DEEPEST = 40


@dataclass
class Document:
    """Plain data read from one file, with the line (from 1) of every place in it."""

    name: str
    data: Any = None
    lines: dict[Place, int] = field(default_factory=dict)

    def at(self, place: Place) -> str:
        """`file:line` of a place, or of the nearest place around it that has one."""
        while place and place not in self.lines:
            place = place[:-1]
        return f"{self.name}:{self.lines.get(place, 1)}"


def read_bytes(path: Path, largest: int) -> bytes:
    """The bytes of a file no larger than `largest` bytes; PlannerError otherwise."""
    why, hint = "nothing this program reads here is that large", "check that it is the right file"
    too_large = PlannerError.one(f"is larger than {largest:,} bytes", str(path), why, hint)
    try:
        with path.open("rb") as stream:
            about = os.fstat(stream.fileno())
            if stat.S_ISREG(about.st_mode) and about.st_size > largest:
                raise too_large
            content = stream.read(largest + 1)
    except IsADirectoryError:
        raise PlannerError.one("is a folder, not a file", str(path), hint="name the files in it") from None
    except (OSError, ValueError) as error:
        raise PlannerError.one(f"cannot be read: {getattr(error, 'strerror', None) or error}", str(path)) from None
    if len(content) > largest:
        raise too_large
    return content


def decode(content: bytes, name: str) -> str:
    """Text of UTF-8 bytes (a byte order mark is dropped); PlannerError for anything else."""
    if b"\0" in content:
        raise PlannerError.one("is not a text file", name, "it holds zero bytes", "check that it is the right file")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        why = "a byte there belongs to another encoding or to no text at all"
        raise PlannerError.one("is not UTF-8 text", f"{name}:{line}", why, "save it as UTF-8") from None


def read(text: str, name: str) -> Document:
    """Read one document. Raises PlannerError naming `name:line` for the first thing that cannot stand."""
    _refuse_depth(text, name)
    document = Document(name)
    try:
        loader = _Loader(text)
        try:
            node = loader.get_single_node()
        finally:
            loader.dispose()
    except yaml.YAMLError as error:
        raise _unreadable(error, text, name) from None
    if node is not None:
        document.data = _plain(node, (), document, set())
    return document


def read_file(path: Path, name: str, largest: int) -> Document:
    """Read the one document of a file, called `name` in what is said of it. Raises PlannerError."""
    return read(decode(read_bytes(path, largest), name), name)


def _unreadable(error: yaml.YAMLError, text: str, name: str) -> PlannerError:
    mark, position = getattr(error, "problem_mark", None), getattr(error, "position", None)
    before = text.encode(errors="replace")[: position or 0]
    line = before.count(b"\n") + 1 if mark is None else mark.line + 1
    problem = getattr(error, "problem", None) or getattr(error, "reason", None) or str(error).splitlines()[0]
    if "another document" in problem:
        why, hint = "one of the two would be lost", "one file for each, without `---`"
        return PlannerError.one("holds a second document", f"{name}:{line}", why, hint)
    hint = "look at that line and the one before it: indentation, a missing colon or quote"
    return PlannerError.one("is not readable YAML", f"{name}:{line}", problem, hint)


def _refuse_depth(text: str, name: str) -> None:
    """Bound the nesting before anything recurses on it; the events, which do not, are read only when in doubt."""
    brackets = re.findall(r"[\[{]", text)
    if len(brackets) <= DEEPEST and not re.search(rf"^[ ?-]{{{DEEPEST}}}", text, re.MULTILINE):
        return
    depth = 0
    try:
        for event in yaml.parse(text, _Loader):
            if isinstance(event, yaml.CollectionStartEvent):
                depth += 1
            elif isinstance(event, yaml.CollectionEndEvent):
                depth -= 1
            if depth > DEEPEST:
                line = event.start_mark.line + 1 if event.start_mark else 1
                raise PlannerError.one("is nested too deeply", f"{name}:{line}", f"more than {DEEPEST} levels")
    except yaml.YAMLError as error:
        raise _unreadable(error, text, name) from None


def _plain(node: Any, place: Place, document: Document, seen: set[int]) -> Any:
    def refuse(node: Any, what: str, why: str = "", hint: str = "") -> PlannerError:
        return PlannerError.one(what, f"{document.name}:{node.start_mark.line + 1}", why, hint)

    if id(node) in seen:
        why = "aliases are refused: each entry says its own"
        raise refuse(node, "an anchor is used again (`*name`)", why, "write it out")
    seen.add(id(node))
    document.lines[place] = node.start_mark.line + 1
    if node.tag not in _PLAIN_TAGS:
        raise refuse(node, f"the tag {node.tag} is refused", "tags could stand for anything", "remove it")
    if isinstance(node, yaml.ScalarNode):
        return None if node.value in ("", "null", "~") and node.style in (None, "") else node.value
    if isinstance(node, yaml.SequenceNode):
        return [_plain(item, (*place, index), document, seen) for index, item in enumerate(node.value)]
    result: dict[str, Any] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, yaml.ScalarNode):
            raise refuse(key_node, "a key must be a word")
        key = key_node.value
        if key == "<<":
            raise refuse(key_node, "merge keys (`<<`) are refused", "each entry says its own", "write it out")
        if key in result:
            why = f"first on line {document.lines[(*place, key)]}; one of the two would be lost"
            raise refuse(key_node, f"the key {key!r} stands twice", why, "keep one")
        result[key] = _plain(value_node, (*place, key), document, seen)
        document.lines[(*place, key)] = key_node.start_mark.line + 1
    return result
