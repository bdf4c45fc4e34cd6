"""The page of one entry: where it stands, what it says in words, its sources, who names it, its cases and its lock."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from planner.claims import Basis, Entry
from planner.conditions import Condition
from planner.errors import PlannerError, did_you_mean
from planner.rulebook.lock import hash_of, read_lock
from planner.rulebook.naming import Piece, pieces
from planner.rulebook.rule_cases import cases_of
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import PointsBasis
from planner.wording.conditions import sentence
from planner.wording.words import wrapped


def pages(rulebook: Rulebook, folder: Path, name: str) -> list[dict[str, Any]]:
    """The page of every entry of that id, of whatever kind, as plain data; a piece of another also by its own id alone.

    Raises PlannerError, with the nearest ids, when there is none.
    """
    known = list(pieces(rulebook))
    named = [piece for piece in known if name in (piece.name, piece.title)]
    named = named or [piece for piece in known if piece.name.endswith(f".{name}")]
    if not named:
        ids = dict.fromkeys(piece.name for piece in known)
        hint = did_you_mean(name, ids, "ids stand in the rulebook's files, after `id:`", 3, 0.5)
        raise PlannerError.one(f"no entry {name!r} in the rulebook", why="an id, or choice.option", hint=hint)
    return [_page(rulebook, folder, piece, known) for piece in named]


def _page(rulebook: Rulebook, folder: Path, piece: Piece, known: list[Piece]) -> dict[str, Any]:
    own = piece.name.rpartition(".")[2] if piece.kind != "option" else piece.name
    return {
        "kind": piece.kind,
        "id": piece.name,
        "at": piece.at,
        "label": getattr(piece.entry, "label", ""),
        "says": dict(_said(piece, rulebook)),
        "sources": dict(_cited(piece, rulebook)),
        "written": piece.written(),
        "named_by": {
            other.title: other.at for other in known if other.title != piece.title and _holds(other.written(), own)
        },
        "cases": cases_of(folder, piece.name),
        "lock": _locked(folder, piece),
    }


def _said(piece: Piece, rulebook: Rulebook) -> Iterator[tuple[str, str | list[str]]]:
    """Each key of an entry with its value in words; of entries inside it that have a page of their own their ids."""
    written = piece.written()
    for key, field in type(piece.entry).model_fields.items():
        value, name = getattr(piece.entry, key), field.alias or key
        if key in ("id", "label") or value in (None, [], {}) or (value is False and name not in written):
            continue
        if isinstance(value, list) and isinstance(value[0], Entry | str):
            pairs = zip(written.get(name, value), value, strict=True)
            yield name, [each if isinstance(each, str) else _words(entry, rulebook) for each, entry in pairs]
        else:
            yield name, _words(value, rulebook)


def _words(value: Any, rulebook: Rulebook) -> str:
    if isinstance(value, Condition):
        names = {name: factor.label for name, factor in rulebook.factors.items()}
        return sentence(value, rulebook.vocabulary, names)
    match value:
        case Basis():
            words = [value.words, *([f"note: {value.note}"] if value.note else [])]
            if isinstance(value, PointsBasis) and value.odds_ratio is not None:
                interval = f" ({value.interval[0]:g} to {value.interval[1]:g})" if value.interval else ""
                words.insert(1, f"odds ratio {value.odds_ratio:g}{interval}")
            return "; ".join(words)
        case Entry():
            inner = ((field.alias or key, getattr(value, key)) for key, field in type(value).model_fields.items())
            return "; ".join(f"{key} {_words(each, rulebook)}" for key, each in inner if each not in (None, [], {}))
        case dict():
            return ", ".join(f"{key} {_words(each, rulebook)}" for key, each in value.items())
        case list() | tuple() | frozenset():
            return ", ".join(_words(each, rulebook) for each in value)
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
    return str(value)


def _cited(piece: Piece, rulebook: Rulebook) -> Iterator[tuple[str, str]]:
    for _, part in piece.within():
        if isinstance(part, Basis) and part.source is not None:
            yield part.source, rulebook.sources[part.source].words


def _holds(data: Any, name: str) -> bool:
    """Whether an id stands anywhere in the data of an entry, as a value or a key, other than as an id of its own."""
    if isinstance(data, dict):
        return any(key == name or (key not in ("id", "label") and _holds(each, name)) for key, each in data.items())
    return any(_holds(each, name) for each in data) if isinstance(data, list) else data == name


def _locked(folder: Path, piece: Piece) -> dict[str, str]:
    lock, now = read_lock(folder), hash_of(piece)
    if lock is None or not lock.entries:
        return {"state": "not locked", "hash": now}
    was = lock.entries.get(piece.title)
    state = f"as locked in {lock.version}" if was == now else f"{'changed' if was else 'new'} since {lock.version}"
    return {"state": state, "hash": now}


def as_text(page: dict[str, Any]) -> Iterator[str]:
    yield from wrapped(f"{page['kind']} {page['id']}" + (f": {page['label']}" if page["label"] else ""), "")
    yield f"  {page['at']}"
    for key, words in page["says"].items():
        name = key.replace("_", " ")
        if isinstance(words, str):
            yield from wrapped(f"{name}: {words}", "  ")
        else:
            yield f"  {name}"
            for each in words:
                yield from wrapped(each, "    - ")
    for heading, entries in (("sources", page["sources"]), ("named by", page["named_by"])):
        if entries:
            yield f"  {heading}"
        for name, words in entries.items():
            yield from wrapped(f"{name}: {words}", "    - ")
    if page["cases"]:
        given = f", each with {page['cases']['given']}" if page["cases"]["given"] else ""
        yield from wrapped(f"cases, {page['cases']['at']}{given}", "  ")
        for how, cases in page["cases"]["expected"].items():
            yield from wrapped(f"{how.replace('_', ' ')}: {' | '.join(cases)}", "    - ")
    yield f"  lock: {page['lock']['state']}, {page['lock']['hash']}"
