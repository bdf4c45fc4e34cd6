"""YAML read strictly: every scalar is text, every value has its line, and nothing is guessed or repaired.

Duplicate keys, tags, anchors and aliases, several documents and nesting without end are refused; what a scalar
means is decided by whoever knows its kind, so `no`, `0123` and `12:30` stay as written.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from planner.errors import Fault, PlannerError

Place = tuple[str | int, ...]
_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_TEXT_TAG = "tag:yaml.org,2002:"
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
    try:
        with path.open("rb") as stream:
            content = stream.read(largest + 1)
    except IsADirectoryError:
        raise PlannerError.one("is a folder, not a file", str(path), hint="name the files in it") from None
    except OSError as error:
        raise PlannerError.one(f"cannot be read: {error.strerror}", str(path)) from None
    if len(content) > largest:
        raise PlannerError.one(
            f"is larger than {largest:,} bytes",
            str(path),
            "nothing this program reads is that large",
            "check that it is the right file",
        )
    return content


def decode(content: bytes, name: str) -> str:
    """Text of UTF-8 bytes (a byte order mark is dropped); PlannerError for anything else."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise PlannerError.one(
            "is not UTF-8 text",
            f"{name}:{line}",
            "a byte there belongs to another encoding or to no text at all",
            "save it as UTF-8",
        ) from None
    if "\0" in text:
        raise PlannerError.one("is not a text file", name, "it holds zero bytes", "check that it is the right file")
    return text


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
        mark = getattr(error, "problem_mark", None)
        line = mark.line + 1 if mark else 1
        problem = getattr(error, "problem", None) or str(error).splitlines()[0]
        raise PlannerError.one(
            "is not readable YAML",
            f"{name}:{line}",
            problem,
            "look at that line and the one before it: indentation, a missing colon or quote",
        ) from None
    if node is not None:
        document.data = _Walk(document).plain(node, ())
    return document


def _refuse_depth(text: str, name: str) -> None:
    # The C parser recurses on nesting, so depth is bounded before it sees the text.
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        depth = max(0, depth + sum(line.count(c) for c in "[{") - sum(line.count(c) for c in "]}"))
        if depth > DEEPEST or (len(line) - len(line.lstrip(" -?"))) > 4 * DEEPEST:
            raise PlannerError.one("is nested too deeply", f"{name}:{number}", f"more than {DEEPEST} levels")


class _Walk:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.seen: set[int] = set()

    def refuse(self, node: Any, what: str, why: str = "", hint: str = "") -> PlannerError:
        return PlannerError([Fault(f"{self.document.name}:{node.start_mark.line + 1}", what, why, hint)])

    def plain(self, node: Any, place: Place) -> Any:
        if id(node) in self.seen:
            raise self.refuse(
                node,
                "an anchor is used again (`*name`)",
                "aliases are refused: each entry says its own",
                "write it out",
            )
        self.seen.add(id(node))
        self.document.lines[place] = node.start_mark.line + 1
        if not node.tag.startswith(_TEXT_TAG):
            raise self.refuse(node, f"the tag {node.tag} is refused", "tags could stand for anything", "remove it")
        if isinstance(node, yaml.ScalarNode):
            return None if node.value in ("", "null", "~") and node.style is None else node.value
        if isinstance(node, yaml.SequenceNode):
            return [self.plain(item, (*place, index)) for index, item in enumerate(node.value)]
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                raise self.refuse(key_node, "a key must be a word")
            key = key_node.value
            if key == "<<":
                raise self.refuse(key_node, "merge keys (`<<`) are refused", "each entry says its own", "write it out")
            if key in result:
                first = self.document.lines[(*place, key)]
                raise self.refuse(
                    key_node,
                    f"the key {key!r} stands twice",
                    f"first on line {first}; one of the two would be lost",
                    "keep one",
                )
            result[key] = self.plain(value_node, (*place, key))
            self.document.lines[(*place, key)] = key_node.start_mark.line + 1
        return result
