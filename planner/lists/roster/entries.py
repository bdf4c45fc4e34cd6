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
from planner.rulebook import misfits
from planner.rulebook.rulebook import Rulebook, Spot
from planner.strict_yaml import Document, Place
from planner.unit import Unit


@dataclass(frozen=True)
class Kind:
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

    def told(self, key: str) -> str:
        return f"{self.name} {key}" if self.listed else self.name


# What entries of a list go by: the first of these that their shape has.
_IDENTITIES = (("id",), ("case", "eye"))


def _kinds() -> dict[str, Kind]:
    """From the shape itself, so that what it comes to hold is kept here too."""
    found = {}
    for field, about in Roster.model_fields.items():
        inside = get_args(about.annotation)
        shape, listed = (inside[0], True) if inside else (about.annotation, False)
        assert isinstance(shape, type) and issubclass(shape, BaseModel), field
        name = field.removesuffix("s") if listed else field
        fits = [names for names in _IDENTITIES if set(names) <= set(shape.model_fields)]
        found[name] = Kind(name, field, shape, fits[0] if listed else ())
    return found


KINDS = _kinds()
LONGEST = 200  # letters of any text in an entry


@dataclass(frozen=True)
class Part:
    """One entry on its way into the store or out of it: its kind's name, its key and its words."""

    kind: str
    key: str
    document: Mapping[str, Any]

    @property
    def told(self) -> str:
        return KINDS[self.kind].told(self.key)


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
    if isinstance(value, datetime.date):
        return value.isoformat()
    return value


def _said(entry: BaseModel, name: str) -> bool:
    """Whether a field says anything; an empty list says no more than none where one may be left out."""
    value = getattr(entry, name)
    empty = value in ([], {}) and not type(entry).model_fields[name].is_required()
    return name in entry.model_fields_set and value is not None and not empty


def parts_of(roster: Roster) -> list[Part]:
    """Every entry of a roster, in its order; limits and wishes only where something is said of them."""
    found = []
    for kind in KINDS.values():
        value = getattr(roster, kind.field)
        for entry in value if kind.listed else [value]:
            document = written(entry)
            if document:
                found.append(Part(kind.name, kind.key_of(document), document))
    return found


class _Kept(Document):
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
        kind = next((kind for kind in KINDS.values() if place and kind.field == place[0]), None)
        if kind is None:
            return self.name
        if not kind.listed or len(place) < 2:
            return kind.name
        entry = self.data[kind.field][place[1]]
        return kind.told((kind.key_of(entry) if isinstance(entry, dict) else "") or str(place[1]))


@dataclass(frozen=True)
class Looked:
    """What entries make: the roster of those that have their shape, and every fault."""

    roster: Roster
    faults: tuple[Fault, ...]


def look(entries: Iterable[RosterEntry | Part], unit: Unit, rulebook: Rulebook) -> Looked:
    """Each entry against its shape, then all against each other, unit and rulebook. A retired one is passed over."""
    faults: list[Fault] = []
    data: dict[str, Any] = {}
    typed: dict[str, Any] = {}
    for entry in entries:
        if isinstance(entry, RosterEntry) and entry.retired:
            continue
        kind = KINDS.get(entry.kind)
        if kind is None:
            faults.append(Fault(entry.kind, "is no kind of entry of a roster", hint=f"one of {', '.join(KINDS)}"))
            continue
        read, wrong = shaped(kind, entry.key, entry.document)
        faults += wrong
        if read is None:
            continue
        if kind.listed:
            data.setdefault(kind.field, []).append(dict(entry.document))
            typed.setdefault(kind.field, []).append(read)
        else:
            data[kind.field], typed[kind.field] = dict(entry.document), read
    empty: dict[str, Any] = {kind.field: [] for kind in KINDS.values() if kind.listed}
    roster = Roster.model_construct(**(empty | typed))
    faults += faults_between(roster, unit, rulebook, Spot(_Kept("roster", empty | data)))
    return Looked(roster, tuple(faults))


def shaped(kind: Kind, key: str, document: Mapping[str, Any]) -> tuple[BaseModel | None, list[Fault]]:
    """An entry read by its shape, or every fault that it has."""
    try:
        read = kind.shape.model_validate(document)
    except ValidationError as error:
        return None, list(misfits.faults_of(error, kind.shape, _spot_of(kind, document)))
    where = kind.told(key)
    if kind.key_of(document) != key:
        what = f"has another {' and '.join(kind.identity)} than it goes by"
        return None, [Fault(where, what, hint="a new entry, and retire this one")]
    unfit = [text for text in _texts(document) if not text.isprintable() or not text.strip() or len(text) > LONGEST]
    if unfit:
        return None, [Fault(where, f"{unfit[0][:40]!r} cannot be kept", hint=f"1 to {LONGEST} letters on one line")]
    return read, []


def _spot_of(kind: Kind, document: Mapping[str, Any]) -> Spot:
    """Where one entry stands, alone."""
    kept = _Kept("roster", {kind.field: [dict(document)] if kind.listed else dict(document)})
    return Spot(kept, (kind.field, 0) if kind.listed else (kind.field,))


def wrong_fields(kind: Kind, document: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with each field of an entry, in one line; empty where all have their shape."""
    try:
        kind.shape.model_validate(document)
    except ValidationError as error:
        faults = misfits.faults_of(error, kind.shape, _spot_of(kind, document))
        found: dict[str, str] = {}
        for detail, fault in zip(error.errors(include_url=False), faults, strict=True):
            name = str(detail["loc"][0]) if detail["loc"] else ""
            told = str(Fault("", fault.what, fault.why, fault.hint))
            found[name] = f"{found[name]}; {told}" if name in found else told
        return found
    return {}


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
        faults = look(after, unit, rulebook).faults
        if faults:
            known = set(look(before, unit, rulebook).faults)
            new = [fault for fault in faults if fault not in known]
            if new:
                raise PlannerError(new)

    return check


def roster_in(entries: Sequence[RosterEntry], unit: Unit, rulebook: Rulebook) -> Roster:
    """The roster that entries of the store make. Raises PlannerError with every fault."""
    looked = look(entries, unit, rulebook)
    if looked.faults:
        raise PlannerError(list(looked.faults))
    return looked.roster


def as_yaml(entries: Iterable[RosterEntry | Part]) -> str:
    """A sessions file of entries: read again it gives the same roster."""
    held: dict[str, Any] = {"trainees": [], "supervisors": [], "sessions": []}
    for entry in entries:
        if isinstance(entry, RosterEntry) and entry.retired:
            continue
        kind, document = KINDS[entry.kind], _in_order(KINDS[entry.kind], entry.document)
        if kind.listed:
            held.setdefault(kind.field, []).append(document)
        else:
            held[kind.field] = document
    lines = []
    for kind in KINDS.values():
        value = held.get(kind.field)
        if value is None:
            continue
        if kind.listed and value:
            lines.append(f"{kind.field}:")
            lines += [f"  - {_flow(document)}" for document in value]
        else:
            lines.append(f"{kind.field}: {_flow(value)}")
    return "\n".join(lines) + "\n"


def _in_order(kind: Kind, document: Mapping[str, Any]) -> dict[str, Any]:
    """An entry's words in the order of its shape; the store keeps them by the alphabet."""
    order = list(kind.shape.model_fields)
    return {name: document[name] for name in sorted(document, key=lambda name: order.index(name))}


class _Plain(yaml.SafeDumper):
    """Every scalar plain where YAML can read it back as the same text: our reader takes all scalars for text."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


_Plain.yaml_implicit_resolvers = {}


def _flow(value: Any) -> str:
    plain = _as_text(value)
    return yaml.dump(
        plain, Dumper=_Plain, default_flow_style=True, sort_keys=False, allow_unicode=True, width=100_000
    ).strip()  # fmt: skip


def _as_text(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(name): _as_text(inner) for name, inner in value.items()}
    if isinstance(value, float):
        return number(value)
    return [_as_text(inner) for inner in value] if isinstance(value, list) else str(value)


def number(value: float) -> str:
    """A number in plain decimal notation, the only one that is read."""
    return f"{Decimal(repr(value)):f}".removesuffix(".0")
