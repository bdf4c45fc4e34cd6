"""An entry of the roster as a form, made from its shape, and the form read back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.lists.roster.entries import EntryKind, written, wrong_fields
from planner.lists.roster.fields import NONE, EntryField, cell_of, fields_of, read_cell
from planner.rulebook.list_shapes import OPERATORS
from planner.web.roster.words import hint, label
from planner.web.server.site import Site

BLANK_ROWS = 2
MOST_ROWS = 40
LONGEST_FIELD = 4_000
Choices = tuple[tuple[str, str], ...]  # what is sent for a choice, and what is read of it


def options_of(site: Site, kind: EntryKind, people: Mapping[str, tuple[str, ...]]) -> Mapping[str, Choices]:
    """What may be chosen in a field: ids of the unit and the rulebook, codes of the roster."""
    book = site.rulebook
    steps = tuple((step.id, step.label) for step in book.steps)
    found: dict[str, Choices] = {
        "steps_cleared": steps,
        "needs": steps,
        "supervisors": _same(people.get("supervisor", ())),
        "kit": tuple((item.id, item.label) for item in book.kit.equipment),
        "operating_minutes": _same(OPERATORS),
    }
    if kind.name == "trainee" and site.unit is not None:
        taken = set(people.get("trainee", ()))
        found["id"] = _same(tuple(one.id for one in site.unit.trainees if one.id not in taken))
    return found


def _same(words: tuple[str, ...]) -> Choices:
    return tuple((word, word) for word in words)


def shown_fields(
    kind: EntryKind,
    document: Mapping[str, Any],
    options: Mapping[str, Choices],
    is_new: bool,
    wrong: Mapping[str, str],
    typed: Mapping[str, Any] | None,
) -> list[dict[str, object]]:
    """Every field of an entry. `typed` is what a form that was refused held, in place of the document."""
    fields = fields_of(kind.shape)
    held = typed or {field.name: _as_typed(field, document.get(field.name)) for field in fields}
    return [_shown(kind, field, held[field.name], options.get(field.name, ()), is_new, wrong) for field in fields]


def _as_typed(field: EntryField, kept: Any) -> Any:
    """What the document says as a form would hold it: the names of a list, the rows of a table, or text."""
    if field.sort in ("some-of", "names"):
        return [str(one) for one in kept or ()]
    if field.sort == "rows":
        inner = {key: value if isinstance(value, Mapping) else {"": value} for key, value in (kept or {}).items()}
        parts = field.inside
        return [
            {"key": key} | {one.name: cell_of(one, row.get(one.name)) for one in parts} for key, row in inner.items()
        ]
    text = cell_of(field, kept)
    return text.removesuffix(NONE).replace(" + ", "\n") if field.sort == "days" else text


def _shown(
    kind: EntryKind, field: EntryField, typed: Any, known: Choices, is_new: bool, wrong: Mapping[str, str]
) -> dict[str, object]:
    """One field. `control` says how it is entered; `fixed` is one that an entry goes by, entered already."""
    chosen: tuple[str, ...] = ()
    control: str = field.sort
    if field.sort in ("some-of", "names"):
        chosen = tuple(typed)
        words = dict(known) or {word: word.replace("-", " ") for word in field.allowed}
        if field.sort == "names":
            # In the order in which they were named, so that saving a form does not change it.
            words = {one: words.get(one, one) for one in chosen} | words
        known = (*words.items(), *((one, one) for one in chosen if one not in words))
        control, typed = "boxes" if known else "text", " + ".join(chosen)
    elif field.sort == "one-of":
        known = tuple((word, word.replace("-", " ")) for word in field.allowed)
    elif field.sort == "yes-no":
        control, known = "one-of", _same(("yes", "no"))
    elif field.name in kind.identity and known and is_new:
        control = "select"
    return {
        "name": field.name, "label": label(field), "hint": hint(kind, field), "required": field.required,
        "control": control, "value": typed, "chosen": chosen, "options": known,
        "rows": _inputs(field, typed, known or _same(field.keys)) if field.sort == "rows" else [],
        "fixed": field.name in kind.identity and not is_new, "wrong": wrong.get(field.name, ""),
    }  # fmt: skip


def _inputs(field: EntryField, rows: list[dict[str, str]], keys: Choices) -> list[list[dict[str, object]]]:
    """The inputs of each row of a table in the form, and of some blank ones."""
    blank = min(BLANK_ROWS, max(0, len(field.keys) - len(rows))) if field.keys else BLANK_ROWS
    found: list[list[dict[str, object]]] = []
    for number, row in enumerate([*rows, *({} for _ in range(blank))], 1):
        key, name, words = row.get("key", ""), f"{field.name}.{number}", f"{label(field)} {number}"
        known = keys if not key or key in dict(keys) else (*keys, (key, key))
        parts = [("key", "which", known), *((part.name, part.label.lower() or "number", ()) for part in field.inside)]
        found.append(
            [
                {"name": f"{name}.{part}", "label": f"{words}, {which}", "value": row.get(part, ""), "options": options}
                for part, which, options in parts
            ]
        )
    return found


def read_form(
    kind: EntryKind, known: Mapping[str, Any] | None, sent: Mapping[str, list[str]]
) -> tuple[dict[str, Any], dict[str, Any], dict[str, str]]:
    """The document as a sessions file has it, what was typed, what is wrong where. A `known` entry keeps its key."""
    document: dict[str, Any] = {}
    typed: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for field in fields_of(kind.shape):
        if known is not None and field.name in kind.identity:
            document[field.name] = typed[field.name] = known[field.name]
            continue
        typed[field.name] = _typed(field, sent)
        try:
            value = _value(field, typed[field.name])
        except ValueError as error:
            wrong[field.name] = str(error)
            continue
        if value is not None:
            document[field.name] = value
    wrong = wrong_fields(kind, document) | wrong
    if not wrong:
        # One way of writing each value, whether it was typed or came from a file.
        document = written(kind.shape.model_validate(document))
    return document, typed, wrong


def _typed(field: EntryField, sent: Mapping[str, list[str]]) -> Any:
    """A field as it was typed: the names of a list, the rows of a table, or text."""
    if field.sort in ("some-of", "names"):
        chosen = [name.strip() for one in sent.get(field.name, ()) for name in one.split("+")]
        return [name for name in chosen if name][:MOST_ROWS]
    if field.sort != "rows":
        return _text(sent, field.name).replace("\r\n", "\n").strip()
    parts = ("key", *(part.name for part in field.inside))
    rows = [
        {part: _text(sent, f"{field.name}.{number}.{part}").strip() for part in parts}
        for number in range(1, MOST_ROWS + 1)
    ]
    return [row for row in rows if any(row.values())]


def _text(sent: Mapping[str, list[str]], name: str) -> str:
    return (sent.get(name) or [""])[-1][:LONGEST_FIELD]


def _value(field: EntryField, typed: Any) -> Any:
    """What was typed as a sessions file would write it, None for nothing. Raises ValueError."""
    if field.sort in ("some-of", "names"):
        return typed or ([] if field.required else None)
    return _rows(field, typed) or None if field.sort == "rows" else read_cell(field, typed)


def _rows(field: EntryField, rows: list[dict[str, str]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for row in rows:
        key = row["key"]
        if not key:
            raise ValueError(f"a row with {', '.join(filter(None, row.values()))[:60]} does not say which")
        if key in found:
            raise ValueError(f"{key[:60]!r} stands twice")
        values = {part.name: read_cell(part, row[part.name]) for part in field.inside}
        said = {name: value for name, value in values.items() if value is not None}
        if field.inside[0].name:
            found[key] = said
        elif said:
            found[key] = said[""]
        else:
            raise ValueError(f"{key[:60]!r} has no number; empty both to leave it out")
    return found
