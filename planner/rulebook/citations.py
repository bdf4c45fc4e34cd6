"""What rests on each source of a rulebook, what still rests on memory, and which sources nothing cites."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from planner.claims import Basis, Entry
from planner.rulebook.naming import Piece, pieces
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import OddsModel, PointScore, Source

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")


@dataclass(frozen=True)
class CitedClaim:
    """One claim that a source is given for: in which entry, which part of it, and where in the source it stands."""

    source: str
    kind: str
    entry: str
    part: str
    where: str
    known: str
    at: str


@dataclass(frozen=True)
class Mention:
    """A source named in an entry's own words, beside a basis or in it; nothing rests on it there."""

    source: str
    kind: str
    entry: str
    part: str
    at: str


@dataclass(frozen=True)
class SourceUse:
    """A source with the claims that rest on it and the places that only mention it."""

    source: Source
    claims: tuple[CitedClaim, ...]
    mentions: tuple[Mention, ...]

    @property
    def is_uncited(self) -> bool:
        """Whether nothing rests on it and nothing mentions it."""
        return not self.claims and not self.mentions


def citations(rulebook: Rulebook) -> list[SourceUse]:
    """Every source in the order of its id, with what rests on it; the words of other sources count as nothing."""
    claims: list[CitedClaim] = []
    mentions: list[Mention] = []
    for piece in pieces(rulebook):
        if isinstance(piece.entry, Source):
            continue
        for place, part in piece.within():
            claims.extend(_claims(rulebook, piece, place, part))
            mentions.extend(_mentions(rulebook, piece, place, part))
    return [
        SourceUse(
            source,
            tuple(claim for claim in claims if claim.source == name),
            tuple(mention for mention in mentions if mention.source == name),
        )
        for name, source in rulebook.sources.items()
    ]


def _claims(rulebook: Rulebook, piece: Piece, place: tuple[str | int, ...], part: Any) -> Iterator[CitedClaim]:
    at = piece.spot.at(*piece.place, *place)
    match part:
        case Basis(source=str(source)):
            yield CitedClaim(source, piece.kind, piece.name, _joined(place), part.where or "", part.known or "", at)
        case OddsModel() | PointScore():
            known = rulebook.sources[part.source].known
            yield CitedClaim(part.source, piece.kind, piece.name, "source", "the whole of it", known, at)


def _mentions(rulebook: Rulebook, piece: Piece, place: tuple[str | int, ...], part: Any) -> Iterator[Mention]:
    """The sources named in the words that stand directly in a part; one named twice there is mentioned once."""
    for key, text in _texts(part):
        inner = (*place, key)
        for name in dict.fromkeys(_SLUG.findall(text)):
            if name in rulebook.sources:
                yield Mention(name, piece.kind, piece.name, _joined(inner), piece.spot.at(*piece.place, *inner))


def _texts(part: Any) -> Iterator[tuple[str | int, str]]:
    match part:
        case Entry():
            for name, field in type(part).model_fields.items():
                text = getattr(part, name)
                if isinstance(text, str) and name not in ("id", "source"):
                    yield field.alias or name, text
        case dict():
            yield from ((str(key), text) for key, text in part.items() if isinstance(text, str))
        case list() | tuple():
            yield from ((index, text) for index, text in enumerate(part) if isinstance(text, str))


def _joined(place: tuple[str | int, ...]) -> str:
    return ".".join(str(key) for key in place)
