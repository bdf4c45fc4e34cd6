"""An entry of the roster as a form, made from its shape, and the form read back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData

from planner.lists.roster.entries import EntryKind, written, wrong_fields
from planner.lists.roster.fields import EntryField, cell_of, fields_of, read_cell
from planner.rulebook.list_shapes import OPERATORS
from planner.web.cases.answers import FINDING
from planner.web.roster.words import hint, label
from planner.web.server.site import Site

BLANK_ROWS = 2
MOST_ROWS = 40
LONGEST_FIELD = 4_000
Options = Mapping[str, tuple[tuple[str, str], ...]]


@dataclass(frozen=True)
class Cell:
    """One input of a row of a table in the form."""

    name: str
    label: str
    value: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Shown:
    """One field of the form. `control` says how it is entered; `fixed` one that an entry goes by, entered already."""

    name: str
    label: str
    hint: str
    control: str
    value: str
    chosen: tuple[str, ...]
    options: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Cell, ...], ...]
    required: bool
    fixed: bool
    wrong: str


@dataclass(frozen=True)
class Read:
    """A form read back: the document as a sessions file would have it, what was typed, and what is wrong where."""

    document: dict[str, Any]
    typed: Mapping[str, Any]
    wrong: Mapping[str, str]


def options_of(site: Site, kind: EntryKind, people: Mapping[str, tuple[str, ...]]) -> Options:
    """What may be chosen in a field: ids of the unit and the rulebook, codes of the roster."""
    book = site.rulebook
    steps = tuple((step.id, step.label) for step in book.steps)
    found: dict[str, tuple[tuple[str, str], ...]] = {
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


def _same(words: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((word, word) for word in words)


def shown_fields(
    kind: EntryKind,
    document: Mapping[str, Any],
    options: Options,
    is_new: bool,
    wrong: Mapping[str, str] | None = None,
    typed: Mapping[str, Any] | None = None,
) -> tuple[Shown, ...]:
    """Every field of an entry. `typed` is what a form that was refused held, in place of the document."""
    return tuple(
        _shown(kind, field, document.get(field.name), options.get(field.name, ()), is_new, wrong or {}, typed)
        for field in fields_of(kind.shape)
    )


def _shown(
    kind: EntryKind, field: EntryField, kept: Any, known: tuple[tuple[str, str], ...], is_new: bool,
    wrong: Mapping[str, str], typed: Mapping[str, Any] | None,
) -> Shown:  # fmt: skip
    value: Any = cell_of(field, kept) if typed is None else typed.get(field.name, "")
    chosen: tuple[str, ...] = ()
    fixed = field.name in kind.identity and not is_new
    control: str = field.sort
    rows: tuple[tuple[Cell, ...], ...] = ()
    if field.sort in ("some-of", "names"):
        chosen = tuple(map(str, kept or ())) if typed is None else tuple(typed.get(field.name, ()))
        words = dict(known) or _same_dict(field.allowed)
        if field.sort == "names":
            # In the order in which they were named, so that saving a form does not change it.
            words = {one: words.get(one, one) for one in chosen} | words
        known = (*words.items(), *((one, one) for one in chosen if one not in words))
        control = "boxes" if known else "text"
        value = " + ".join(chosen)
    elif field.sort == "rows":
        held = list(_rows_of(field, kept)) if typed is None else list(typed.get(field.name, ()))
        rows = _cells(field, held, known or tuple((key, key) for key in field.keys))
    elif field.sort == "days":
        value = value.replace(" + ", "\n") if typed is None and value != "none" else "" if typed is None else value
    elif field.sort == "one-of":
        known = tuple((word, word.replace("-", " ")) for word in field.allowed)
    elif field.sort == "yes-no":
        control, known = "one-of", (("yes", "yes"), ("no", "no"))
    elif field.name in kind.identity and known and is_new:
        control = "select"
    return Shown(
        field.name, label(field), hint(kind, field), control, value if isinstance(value, str) else "", chosen, known,
        rows, field.required, fixed, wrong.get(field.name, ""),
    )  # fmt: skip


def _same_dict(words: tuple[str, ...]) -> dict[str, str]:
    return {word: word.replace("-", " ") for word in words}


def _rows_of(field: EntryField, kept: Any) -> list[dict[str, str]]:
    rows = []
    for key, value in (kept or {}).items():
        inner = value if isinstance(value, Mapping) else {"": value}
        rows.append({"key": key} | {part.name: cell_of(part, inner.get(part.name)) for part in field.inside})
    return rows


def _cells(
    field: EntryField, held: list[dict[str, str]], keys: tuple[tuple[str, str], ...]
) -> tuple[tuple[Cell, ...], ...]:
    blank = min(BLANK_ROWS, max(0, len(field.keys) - len(held))) if field.keys else BLANK_ROWS
    found = []
    for number, row in enumerate([*held, *({} for _ in range(blank))], 1):
        key = row.get("key", "")
        known = keys if not key or key in dict(keys) else (*keys, (key, key))
        cells = [Cell(f"{field.name}.{number}.key", f"{label(field)} {number}, which", key, known)]
        for part in field.inside:
            words = part.label.lower() if part.name else "number"
            cells.append(
                Cell(
                    f"{field.name}.{number}.{part.name}",
                    f"{label(field)} {number}, {words}",
                    row.get(part.name, ""),
                    (),
                )
            )
        found.append(tuple(cells))
    return tuple(found)


def read_form(kind: EntryKind, known: Mapping[str, Any] | None, form: FormData) -> Read:
    """What a form says. What a `known` entry goes by is not the form's to change."""
    document: dict[str, Any] = {}
    typed: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for field in fields_of(kind.shape):
        if known is not None and field.name in kind.identity:
            document[field.name] = typed[field.name] = known[field.name]
            continue
        try:
            value = _value(field, form, typed)
        except ValueError as error:
            wrong[field.name] = str(error)
            continue
        if value is not None:
            document[field.name] = value
    for name, told in wrong_fields(kind, document).items():
        wrong.setdefault(name, told)
    if not wrong:
        # One way of writing each value, whether it was typed or came from a file.
        document = written(kind.shape.model_validate(document))
    return Read(document, typed, wrong)


def _value(field: EntryField, form: FormData, typed: dict[str, Any]) -> Any:
    name = FINDING + field.name
    if field.sort in ("some-of", "names"):
        chosen = [text for one in form.getlist(name) for text in str(one).split("+") if text.strip()]
        typed[field.name] = [text.strip() for text in chosen][:MOST_ROWS]
        return typed[field.name] or ([] if field.required else None)
    if field.sort == "rows":
        typed[field.name] = rows = _typed_rows(field, form)
        return _read_rows(field, rows) or None
    text = str(form.get(name, ""))[:LONGEST_FIELD].replace("\r\n", "\n").strip()
    typed[field.name] = text
    return read_cell(field, text)


def _typed_rows(field: EntryField, form: FormData) -> list[dict[str, str]]:
    rows = []
    for number in range(1, MOST_ROWS + 1):
        names = ["key", *(part.name for part in field.inside)]
        row = {
            part: str(form.get(f"{FINDING}{field.name}.{number}.{part}", ""))[:LONGEST_FIELD].strip() for part in names
        }
        if any(row.values()):
            rows.append(row)
    return rows


def _read_rows(field: EntryField, rows: list[dict[str, str]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for row in rows:
        key = row["key"]
        if not key:
            raise ValueError(f"a row with {', '.join(filter(None, row.values()))[:60]} does not say which")
        if key in found:
            raise ValueError(f"{key[:60]!r} stands twice")
        values = {part.name: read_cell(part, row[part.name]) for part in field.inside}
        said = {name: value for name, value in values.items() if value is not None}
        if field.inside[0].name == "":
            if not said:
                raise ValueError(f"{key[:60]!r} has no number; empty both to leave it out")
            found[key] = said[""]
        else:
            found[key] = said
    return found
