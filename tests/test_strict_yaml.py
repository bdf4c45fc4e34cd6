"""YAML read strictly: what stays as written, what is refused, and where the refusal points.

What YAML 1.1 would silently make of these scalars is in its own type repository (https://yaml.org/type/): bool,
int (octal, sexagesimal), float, timestamp and merge.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from planner import strict_yaml
from planner.errors import PlannerError

COERCED = (
    "no",
    "yes",
    "on",
    "off",
    "NO",
    "0123",
    "0x1F",
    "12:30",
    "1_000",
    "1e3",
    ".inf",
    ".nan",
    "2026-11-02",
    "1.10",
)


@pytest.mark.parametrize("scalar", COERCED)
def test_a_scalar_stays_as_written(scalar: str) -> None:
    assert strict_yaml.read(f"a: {scalar}", "f").data == {"a": scalar}


@pytest.mark.parametrize("blank", ["", "~", "null"])
def test_only_a_blank_value_is_none(blank: str) -> None:
    assert strict_yaml.read(f"a: {blank}", "f").data == {"a": None}
    assert strict_yaml.read("a: none\nb: 'null'\nc: ''", "f").data == {"a": "none", "b": "null", "c": ""}


def test_every_place_has_its_line() -> None:
    document = strict_yaml.read("case: A\nfindings:\n  sex: female\n  list:\n    - a\n    - b\n", "case.yaml")
    assert document.at(("case",)) == "case.yaml:1"
    assert document.at(("findings", "sex")) == "case.yaml:3"
    assert document.at(("findings", "list", 1)) == "case.yaml:6"
    assert document.at(("findings", "not there")) == "case.yaml:2"


BOMB = "a: &a [lol, lol]\n" + "".join(
    f"{new}: &{new} [*{old}, *{old}, *{old}]\n" for old, new in zip("abcdefg", "bcdefgh", strict=True)
)
REFUSED = {
    "a repeated key": ("a: 1\nb: 2\na: 3\n", "f.yaml:3", "'a' stands twice", "line 1"),
    "a repeated key inside": ("x:\n  a: 1\n  a: 1\n", "f.yaml:3", "'a' stands twice"),
    "an alias": ("a: &x 1\nb: *x\n", "f.yaml", "an anchor is used again"),
    "an alias bomb": (BOMB, "f.yaml", "an anchor is used again"),
    "an alias to itself": ("a: &x [*x]\n", "f.yaml:1", "an anchor is used again"),
    "a merge": ("a: {b: 1}\nc:\n  <<: {b: 2}\n", "f.yaml:3", "merge keys"),
    "a tag that would run code": (
        "a: 1\nb: !!python/object/apply:os.system ['touch hacked']\n",
        "f.yaml:2",
        "os.system is refused",
    ),
    "a tag of another kind": ("a: !!binary aGVsbG8=\n", "f.yaml:1", "binary is refused"),
    "a set, whose values are lost": ("!!set {a, b}\n", "f.yaml:1", "set is refused"),
    "a tag of somebody's own": ("a: !mine 1\n", "f.yaml:1", "!mine is refused"),
    "a second document": ("a: 1\n---\nb: 2\n", "f.yaml:2", "second document", "one file for each"),
    "a tab for indentation": ("a:\n\tb: 1\n", "f.yaml:2", "not readable YAML"),
    "a quote left open": ('a: 1\nb: "x\nc: 2\n', "f.yaml", "not readable YAML"),
    "a control character": ("a: 1\nb: \x07\n", "f.yaml:2", "not readable YAML"),
    "a list as a key": ("a: 1\n[b]: 1\n", "f.yaml:2", "a key must be a word"),
    "flow nesting on one line": ("a: " + "[" * 500 + "]" * 500, "f.yaml:1", "nested too deeply"),
    "flow nesting beyond the parser": ("[" * 100_000, "f.yaml:1", ""),
    "block nesting": ("".join(" " * n + "a:\n" for n in range(200)), "f.yaml:41", "nested too deeply"),
    "list nesting on one line": ("- " * 5000 + "x", "f.yaml:1", "nested too deeply"),
    "key nesting on one line": ("? " * 5000 + "x", "f.yaml:1", "nested too deeply"),
}


@pytest.mark.parametrize("text, words", [(text, words) for text, *words in REFUSED.values()], ids=list(REFUSED))
def test_what_cannot_stand_is_refused_at_its_line(text: str, words: list[str]) -> None:
    with pytest.raises(PlannerError) as refused:
        strict_yaml.read(text, "f.yaml")
    assert len(refused.value.faults) == 1
    assert all(word in str(refused.value) for word in words), str(refused.value)


def test_nesting_up_to_the_bound_and_brackets_in_comments_are_read() -> None:
    depth = strict_yaml.DEEPEST
    assert strict_yaml.read("[" * depth + "]" * depth, "f").data is not None
    with pytest.raises(PlannerError):
        strict_yaml.read("[" * (depth + 1) + "]" * (depth + 1), "f")
    assert strict_yaml.read("a: '[[[['\n" + "# [[[[ {{{{\n" * 50, "f").data == {"a": "[[[["}


def test_a_file_is_read_up_to_its_limit_and_no_further(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    path.write_bytes(b"x" * 100)
    assert strict_yaml.read_bytes(path, 100) == b"x" * 100
    with pytest.raises(PlannerError, match="larger than 99 bytes"):
        strict_yaml.read_bytes(path, 99)
    with path.open("wb") as stream:
        # A file without blocks of 100 GB: read whole it would not fit into memory.
        stream.truncate(100_000_000_000)
    with pytest.raises(PlannerError, match="larger than 1,000 bytes"):
        strict_yaml.read_bytes(path, 1000)
    with pytest.raises(PlannerError, match="larger than 1,000 bytes"):
        strict_yaml.read_bytes(Path("/dev/zero"), 1000)


def test_what_is_no_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(PlannerError, match="is a folder"):
        strict_yaml.read_bytes(tmp_path, 10)
    with pytest.raises(PlannerError, match="No such file"):
        strict_yaml.read_bytes(tmp_path / "missing.yaml", 10)
    with pytest.raises(PlannerError, match="cannot be read"):
        strict_yaml.read_bytes(Path("a\0b"), 10)


def test_text_is_utf8_and_says_where_it_is_not() -> None:
    assert strict_yaml.decode("\ufeffé".encode(), "f") == "é"
    with pytest.raises(PlannerError, match=r"f:3: is not UTF-8"):
        strict_yaml.decode(b"a\nb\n\xe9", "f")
    with pytest.raises(PlannerError, match="not a text file"):
        strict_yaml.decode(b"a\0b", "f")
