"""A new entry begun, with its cases: blank keys where such entries stand, which `planner rules check` then names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from planner import strict_yaml
from planner.errors import Fault, PlannerError
from planner.rulebook.load import LARGEST_FILE
from planner.shipped import PACKAGE, templates_folder

_HYPHENS, _UNDERSCORES = r"[a-z0-9]+(-[a-z0-9]+)*", r"[a-z][a-z0-9]*(_[a-z0-9]+)*"
_CASES = "  holds: []\n  does_not_hold: []\n  unknown: []\n"


@dataclass(frozen=True)
class _Blank:
    """The list and file (or folder) that such entries stand in, and their ids; the blank keys are a template."""

    key: str
    file: str
    ids: str
    like: str


_BLANKS = {
    "factor": _Blank("factors", "factors", _HYPHENS, "small-pupil"),
    "finding": _Blank("findings", "findings.yaml", _UNDERSCORES, "dilated_pupil_mm"),
    "drill": _Blank("drills", "drills", _HYPHENS, "wound-burn"),
    "caution": _Blank("cautions", "cautions.yaml", _HYPHENS, "several-troubles"),
}
KINDS = tuple(_BLANKS)


def begin(folder: Path, kind: str, name: str, file: str | None = None) -> dict[Path, str]:
    """The text of each file that is new or grows where an entry begins; `file` is a stem. Raises PlannerError."""
    wanted = _BLANKS[kind]
    if not re.fullmatch(wanted.ids, name):
        raise PlannerError.one(f"{name!r} is no id of a {kind}", hint=f"lower-case words like {wanted.like}")
    if folder.resolve().is_relative_to(PACKAGE):
        why, hint = "they come with the installed program", f"cp -r {folder} rules-new, and --rules rules-new"
        raise PlannerError.one("these rules cannot be changed", str(folder), why, hint)
    if not (folder / "rulebook.yaml").is_file():
        raise PlannerError.one("is no rulebook", str(folder), "it has no rulebook.yaml", "--rules, with its folder")
    if (first := next(_ids(folder, name), None)) is not None:
        raise PlannerError([Fault(first, f"the id {name!r} is here already", "ids are never reused", "another id")])
    if file is not None and (wanted.file.endswith(".yaml") or not re.fullmatch(_HYPHENS, file)):
        where = f"every {kind} stands in {wanted.file}" if wanted.file.endswith(".yaml") else "lower-case words"
        raise PlannerError.one(f"{file!r} cannot be its file", why=where, hint="leave out --in")
    path = folder / (wanted.file if wanted.file.endswith(".yaml") else f"{wanted.file}/{file or name}.yaml")
    blank = (templates_folder() / "entries" / f"{kind}.txt").read_text("utf-8")
    texts = {path: _with_entry(path, wanted.key, f"id: {name}\n{blank}")}
    if kind == "factor":
        cases = path.with_name(f"{path.stem}.cases.yaml")
        texts[cases] = _with_entry(cases, "cases", f"of: {name}\n{_CASES}".replace("\n  ", "\n"))
    return texts


def _ids(folder: Path, name: str) -> Iterator[str]:
    """Where an id stands already, at any depth of any file; the rulebook need not load for it."""
    for path in sorted(folder.rglob("*.yaml")):
        document = strict_yaml.read_file(path, path.relative_to(folder.parent).as_posix(), LARGEST_FILE)
        for place in document.lines:
            if place and place[-1] == "id":
                data = document.data
                for key in place:
                    data = data[key]
                if data == name:
                    yield document.at(place)


def _with_entry(path: Path, key: str, entry: str) -> str:
    """The file's text with an entry added to the list under `key`, indented like the others; a new file without one."""
    if not path.exists():
        return f"{key}:\n{_indented(entry, '  ')}"
    document = strict_yaml.read_file(path, path.name, LARGEST_FILE)
    lines = strict_yaml.decode(path.read_bytes(), path.name).splitlines(keepends=True)
    after = [document.lines[(other,)] for other in document.data if document.lines[(other,)] > document.lines[(key,)]]
    end = min(after, default=len(lines) + 1) - 1
    while end and re.fullmatch(r"(#.*)?", lines[end - 1].strip()):
        end -= 1  # notes before the next key belong to that
    indent = re.match(r" *", lines[document.lines[(key, 0)] - 1])
    text = _indented(entry, indent[0] if indent else "")
    blank = "\n" if len(document.data[key]) > 1 and not lines[document.lines[(key, 1)] - 2].strip() else ""
    return "".join([*lines[:end], blank, text, *lines[end:]])


def _indented(entry: str, indent: str) -> str:
    first, *others = entry.splitlines(keepends=True)
    return f"{indent}- {first}" + "".join(f"{indent}  {line}" for line in others)
