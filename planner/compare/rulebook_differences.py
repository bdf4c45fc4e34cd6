"""What differs between two rulebooks, piece by piece and by name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from planner.claims import Basis, Entry
from planner.conditions import Condition
from planner.rulebook.naming import KINDS, Piece, pieces
from planner.rulebook.rulebook import Rulebook
from planner.strict_yaml import Place
from planner.vocabulary import Vocabulary
from planner.wording.conditions import sentence

# Fields that are printed and decide nothing that `compare` looks at. Whatever is not named here is taken to decide.
WORDS = frozenset(
    {
        *("label", "title", "citation", "locator", "known", "authors", "population", "outcome", "meaning", "limits"),
        *("because", "harm", "why", "note", "text", "misleads_when", "review", "scale_note", "question", "how"),
        *("watch", "pause_if", "think", "hand_over_if", "done_well", "hazard", "instead", "published_grade"),
        *("signs", "stop_first", "call", "leave", "check", "dose", "maximum", "concentration", "route", "without"),
        *("measured", "settled_by", "not_recorded", "formulary_note", "default_note", "hand_back", "take_over_words"),
        *("approvers", "status", "version", "effective_from", "review_due", "draft_line", "captured"),
        *("recheck", "recheck_then", "deferral", "range_note", "score_note"),
        *("opening_mm", "seat", "main_incision", "side_ports", "drawn"),
        # How long an approval may rest on a measurement: no assessment and no plan hangs on it.
        *("dates", "valid_days"),
    }
)
# Pieces and files whose whole content is printed and not compared, such as published scores.
_PRINTED = frozenset({"source", "section", "score", "item", "equipment", "table"})
_PRINTED_FILES = frozenset({"kit", "lens", "theatre", "rulebook"})
# What a step tells to do: it changes the step, and no machine can say whether the new words mean the same.
TO_DO = frozenset({"do", "prepared_as"})


@dataclass(frozen=True)
class ChangedKey:
    """One part of a piece that differs, in words; `part` is the way to it inside the piece."""

    part: str
    before: str
    after: str
    is_condition: bool = False

    @property
    def decides(self) -> bool:
        """Whether it can change what a case gets."""
        keys = self.part.split(".")
        return not any(key in WORDS or key.endswith(("basis", "rates")) for key in keys)

    @property
    def words(self) -> str:
        """From what to what."""
        return f"{self.part}: {self.before or 'nothing'} -> {self.after or 'nothing'}"


@dataclass(frozen=True)
class Difference:
    """A piece that is new, gone, or changed. `at` is where it stands now, or last stood."""

    kind: str
    name: str
    state: Literal["new", "gone", "changed"]
    at: str
    fields: tuple[ChangedKey, ...] = ()

    @property
    def deciding(self) -> tuple[ChangedKey, ...]:
        return tuple(field for field in self.fields if field.decides)

    @property
    def decides(self) -> bool:
        """Whether it can change what a case gets."""
        if self.kind in _PRINTED or (self.kind == "file" and self.name in _PRINTED_FILES):
            return False
        return self.state != "changed" or bool(self.deciding)

    @property
    def only_moves_its_condition(self) -> bool:
        return self.state == "changed" and all(field.is_condition for field in self.deciding)

    @property
    def is_wording(self) -> bool:
        """Whether nothing but the words of what is to be done may differ."""
        return self.state == "changed" and all(field.part.split(".")[0] in TO_DO for field in self.deciding)

    @property
    def only_adds_up(self) -> bool:
        """Whether it acts through points and tier alone: where both stay, nothing else of a case can move."""
        if self.kind == "factor" and self.state == "changed":
            return all(field.part.split(".")[0] in ("points", "floor", "counts_once_with") for field in self.deciding)
        return self.kind == "raise" or (self.kind, self.name) == ("file", "tiers")

    @property
    def words(self) -> str:
        """The piece and what became of it; fields that only print are left out where others decide."""
        fields = self.deciding or self.fields
        return f"{self.kind} {self.name} ({'; '.join(field.words for field in fields) or self.state})"


def differences(old: Rulebook, new: Rulebook) -> list[Difference]:
    """Every piece that differs, in the order of the new rulebook, what is gone last."""
    before = {(piece.kind, piece.name): piece for piece in pieces(old)}
    after = {(piece.kind, piece.name): piece for piece in pieces(new)}
    differing = []
    for key, piece in after.items():
        if key not in before:
            differing.append(Difference(*key, "new", piece.at))
        elif fields := tuple(_fields(before[key], old.vocabulary, piece, new.vocabulary)):
            differing.append(Difference(*key, "changed", piece.at, fields))
    gone = [Difference(*key, "gone", piece.at) for key, piece in before.items() if key not in after]
    return differing + gone


def _fields(old: Piece, old_words: Vocabulary, new: Piece, new_words: Vocabulary) -> Iterator[ChangedKey]:
    before, after = dict(_leaves(old.entry)), dict(_leaves(new.entry))
    for place in dict.fromkeys((*before, *after)):
        one, other = before.get(place), after.get(place)
        if isinstance(one, _Ids) and isinstance(other, _Ids):
            one, other = one.kept(other), other.kept(one)
        if one != other:
            part = ".".join(str(key) for key in place)
            is_condition = isinstance(one, Condition) and isinstance(other, Condition)
            yield ChangedKey(part, _shown(one, old_words), _shown(other, new_words), is_condition)


class _Ids(tuple[str, ...]):
    """The order of the pieces in a list; what came or went is a difference of its own."""

    def kept(self, other: _Ids) -> _Ids:
        return _Ids(name for name in self if name in other)


def _leaves(entry: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """What a piece holds, down to single values, lists of them and conditions; of pieces inside it their order."""
    if entry is None or entry == []:
        return
    if isinstance(entry, Entry) and not isinstance(entry, Basis):
        for name, field in type(entry).model_fields.items():
            yield from _leaves(getattr(entry, name), (*place, field.alias or name))
    elif isinstance(entry, dict):
        for key, value in entry.items():
            yield from _leaves(value, (*place, str(key)))
    elif isinstance(entry, list) and type(entry[0]) in KINDS:
        yield place, _Ids(item.id for item in entry)
    elif isinstance(entry, list) and isinstance(entry[0], Entry):
        for index, item in enumerate(entry):
            yield from _leaves(item, (*place, index))
    else:
        yield place, entry


def _shown(value: Any, vocabulary: Vocabulary) -> str:
    if isinstance(value, Condition):
        return sentence(value, vocabulary, {})
    match value:
        case None:
            return ""
        case Basis():
            return value.words + (f"; {value.note}" if value.note else "")
        case list() | tuple():
            return ", ".join(_shown(item, vocabulary) for item in value)
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
        case _:
            return str(value)
