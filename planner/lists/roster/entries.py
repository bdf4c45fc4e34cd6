"""The roster taken apart into entries, as the store keeps it, and put together again."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, get_args

import yaml
from pydantic import BaseModel, ValidationError

from planner.errors import Fault, PlannerError
from planner.lists.roster.shapes import Roster, faults_between
from planner.records.rows import RosterEntry
from planner.rulebook import validation_errors
from planner.rulebook.rulebook import Rulebook, Spot
from planner.strict_yaml import Document, Place
from planner.unit import Unit


@dataclass(frozen=True)
class EntryKind:
    """A kind of entry: where it stands in a sessions file, and its shape. One that is listed goes by `identity`."""

    name: str
    field: str
    shape: type[BaseModel]
    identity: tuple[str, ...]

    @property
    def listed(self) -> bool:
        return bool(self.identity)

    def key_of(self, document: Mapping[str, Any]) -> str:
        """What an entry goes by among its kind; "" where it does not say, and for the only one of its kind."""
        said = [str(document.get(name) or "") for name in self.identity]
        return " ".join(said) if all(said) else ""

    def in_words(self, key: str) -> str:
        return f"{self.name} {key}" if self.listed else self.name


# What entries of a list go by: the first of these that their shape has.
_IDENTITIES = (("id",), ("case", "eye"))


def _kinds() -> dict[str, EntryKind]:
    """From the shape itself, so that what it comes to hold is kept here too."""
    found = {}
    for field, about in Roster.model_fields.items():
        inside = get_args(about.annotation)
        shape, listed = (inside[0], True) if inside else (about.annotation, False)
        assert isinstance(shape, type) and issubclass(shape, BaseModel), field
        name = field.removesuffix("s") if listed else field
        fits = [names for names in _IDENTITIES if set(names) <= set(shape.model_fields)]
        found[name] = EntryKind(name, field, shape, fits[0] if listed else ())
    return found


KINDS = _kinds()
KIND_OF_FIELD = {kind.field: kind for kind in KINDS.values()}
PEOPLE = tuple(kind.name for kind in KINDS.values() if "leave" in kind.shape.model_fields)
LONGEST = 200  # letters of any text in an entry


def written(value: Any) -> Any:
    """A value as a sessions file writes it; of an entry only what was said of it."""
    if isinstance(value, BaseModel):
        return {name: written(getattr(value, name)) for name in type(value).model_fields if _said(value, name)}
    if isinstance(value, Mapping):
        return {str(name): written(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [written(inner) for inner in value]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, datetime.date) else value


def _said(entry: BaseModel, name: str) -> bool:
    """Whether a field says anything; an empty list says no more than none where one may be left out."""
    value = getattr(entry, name)
    empty = value in ([], {}) and not type(entry).model_fields[name].is_required()
    return name in entry.model_fields_set and value is not None and not empty


def entries_of(roster: Roster) -> list[RosterEntry]:
    """Every entry of a roster, in its order; limits and wishes only where something is said of them."""
    found = []
    for kind in KINDS.values():
        value = getattr(roster, kind.field)
        for entry in value if kind.listed else [value]:
            document = written(entry)
            if document:
                found.append(RosterEntry(kind.name, kind.key_of(document), document))
    return found


class _EntriesDocument(Document):
    """Entries as a document whose places are named by what stands there."""

    def __init__(self, name: str, data: dict[str, Any]) -> None:
        super().__init__(name, data)
        self._mark(data, ())

    def _mark(self, value: Any, place: Place) -> None:
        self.lines[place] = 1
        items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        for name, inner in items:
            self._mark(inner, (*place, name))

    def at(self, place: Place) -> str:
        kind = KIND_OF_FIELD.get(str(place[0])) if place else None
        if kind is None:
            return self.name
        if not kind.listed or len(place) < 2:
            return kind.name
        entry = self.data[kind.field][place[1]]
        return kind.in_words((kind.key_of(entry) if isinstance(entry, dict) else "") or str(place[1]))


@dataclass(frozen=True)
class CheckedRoster:
    """What entries make: the roster of those that have their shape, and every fault."""

    roster: Roster
    faults: tuple[Fault, ...]


def check_entries(entries: Iterable[RosterEntry], unit: Unit, rulebook: Rulebook) -> CheckedRoster:
    """Each entry against its shape, then all against each other, unit and rulebook. A retired one is passed over."""
    faults: list[Fault] = []
    data: dict[str, Any] = {kind.field: [] for kind in KINDS.values() if kind.listed}
    typed: dict[str, Any] = {field: [] for field in data}
    for entry in entries:
        if entry.retired:
            continue
        kind = KINDS.get(entry.kind)
        if kind is None:
            faults.append(Fault(entry.kind, "is no kind of entry of a roster", hint=f"one of {', '.join(KINDS)}"))
            continue
        read, wrong = shaped(kind, entry.key, entry.document)
        faults += wrong
        if read is not None and kind.listed:
            data[kind.field].append(dict(entry.document))
            typed[kind.field].append(read)
        elif read is not None:
            data[kind.field], typed[kind.field] = dict(entry.document), read
    roster = Roster.model_construct(**typed)
    faults += faults_between(roster, unit, rulebook, Spot(_EntriesDocument("roster", data)))
    return CheckedRoster(roster, tuple(faults))


def shaped(kind: EntryKind, key: str, document: Mapping[str, Any]) -> tuple[BaseModel | None, list[Fault]]:
    """An entry read by its shape, or every fault that it has."""
    read, faults = _typed(kind, document)
    if read is None:
        return None, faults
    where = kind.in_words(key)
    if kind.key_of(document) != key:
        what = f"has another {' and '.join(kind.identity)} than it goes by"
        return None, [Fault(where, what, hint="a new entry, and retire this one")]
    unfit = [text for text in _texts(document) if not text.isprintable() or not text.strip() or len(text) > LONGEST]
    if unfit:
        return None, [Fault(where, f"{unfit[0][:40]!r} cannot be kept", hint=f"1 to {LONGEST} letters on one line")]
    return read, []


def _typed(kind: EntryKind, document: Mapping[str, Any]) -> tuple[BaseModel | None, list[Fault]]:
    try:
        return kind.shape.model_validate(document), []
    except ValidationError as error:
        alone = _EntriesDocument("roster", {kind.field: [dict(document)] if kind.listed else dict(document)})
        place = (kind.field, 0) if kind.listed else (kind.field,)
        return None, list(validation_errors.faults_of(error, kind.shape, Spot(alone, place)))


def wrong_fields(kind: EntryKind, document: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with each field of an entry, in one line; empty where all have their shape."""
    found: dict[str, str] = {}
    for fault in _typed(kind, document)[1]:
        inside = fault.place[2 if kind.listed else 1 :]
        name = str(inside[0]) if inside else ""
        found[name] = f"{found[name]}; {fault.says}" if name in found else fault.says
    return found


def _texts(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from (name, *_texts(inner))
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def no_new_fault(unit: Unit, rulebook: Rulebook) -> Callable[[Sequence[RosterEntry], Sequence[RosterEntry]], None]:
    """The check of a change: refuses what brings a fault that was not there, so that an old one can be mended."""

    def check(before: Sequence[RosterEntry], after: Sequence[RosterEntry]) -> None:
        if faults := check_entries(after, unit, rulebook).faults:
            known = set(check_entries(before, unit, rulebook).faults)
            if new := [fault for fault in faults if fault not in known]:
                raise PlannerError(new)

    return check


def as_yaml(entries: Iterable[RosterEntry]) -> str:
    """A sessions file of entries: read again it gives the same roster."""
    standing = [entry for entry in entries if not entry.retired]
    lines = []
    for kind in KINDS.values():
        # An entry's words in the order of its shape; the store keeps them by the alphabet.
        found = [
            _flow({name: entry.document[name] for name in kind.shape.model_fields if name in entry.document})
            for entry in standing
            if entry.kind == kind.name
        ]
        if kind.listed and found:
            lines += [f"{kind.field}:", *(f"  - {entry}" for entry in found)]
        elif found or Roster.model_fields[kind.field].is_required():
            lines.append(f"{kind.field}: {found[-1] if found else '[]'}")
    return "\n".join(lines) + "\n"


class _Plain(yaml.SafeDumper):
    """Every scalar plain where YAML can read it back as the same text: our reader takes all scalars for text."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


_Plain.yaml_implicit_resolvers = {}
_Plain.add_representer(int, lambda dumper, value: dumper.represent_str(str(value)))
_Plain.add_representer(float, lambda dumper, value: dumper.represent_str(number(value)))


def _flow(document: Mapping[str, Any]) -> str:
    text = yaml.dump(
        document, Dumper=_Plain, default_flow_style=True, sort_keys=False, allow_unicode=True, width=100_000
    )  # fmt: skip
    return text.strip()


def number(value: float) -> str:
    """A number in plain decimal notation, the only one that is read."""
    return f"{Decimal(repr(value)):f}".removesuffix(".0")
