"""What rests on each source of a rulebook, what rests on memory, what nothing cites; as words and as data."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from planner.claims import Basis, Entry
from planner.rulebook.naming import Piece, pieces
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import OddsModel, PointScore, Source
from planner.wording.words import counted, wrapped

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


def _from_memory(uses: list[SourceUse]) -> list[CitedClaim]:
    return [claim for resting in uses for claim in resting.claims if claim.known == "from-memory"]


def sources_data(rulebook: Rulebook, uses: list[SourceUse]) -> dict[str, object]:
    return {
        "rulebook": rulebook.identity,
        "sources": [
            {
                **resting.source.model_dump(),
                "claims": [asdict(claim) for claim in resting.claims],
                "mentions": [asdict(mention) for mention in resting.mentions],
            }
            for resting in uses
        ],
        "from_memory": [asdict(claim) for claim in _from_memory(uses)],
        "uncited": [resting.source.id for resting in uses if resting.is_uncited],
    }


def sources_text(rulebook: Rulebook, uses: list[SourceUse]) -> Iterator[str]:
    remembered = _from_memory(uses)
    uncited = [resting.source.id for resting in uses if resting.is_uncited]
    mentioned = sum(not resting.claims and bool(resting.mentions) for resting in uses)
    claims = sum(len(resting.claims) for resting in uses)
    yield rulebook.identity_line
    of_sources = f"{counted(len(uses), 'source')}, {mentioned} of them only mentioned"
    yield f"{of_sources}; {counted(claims, 'published claim')}, {len(remembered)} of them from memory"
    yield from ("", "What rests on each source")
    for resting in uses:
        yield from _resting(resting)
    yield from ("", "What still rests on memory")
    for claim in remembered:
        yield from wrapped(
            f"{claim.at}: {claim.kind} {claim.entry} ({claim.part}): {claim.source}, {claim.where}", "  "
        )
    if not remembered:
        yield "  nothing"
    yield from ("", "Sources that nothing cites")
    yield f"  {', '.join(uncited) or 'none'}"


def _resting(resting: SourceUse) -> Iterator[str]:
    source = resting.source
    yield ""
    counts = [counted(len(resting.claims), "claim")] if resting.claims else ["nothing rests on it"]
    counts += [counted(len(resting.mentions), "mention")] if resting.mentions else []
    yield from wrapped(f"{source.id}, {source.known.replace('-', ' ')}: {', '.join(counts)}", "")
    yield from wrapped(source.words, "  ")
    if source.read:
        yield from wrapped(f"read: {source.read}", "  ")
    for (where, known), entries in _by_place(resting.claims).items():
        yield from wrapped(f"{where} ({known.replace('-', ' ')}): {', '.join(entries)}", "  - ")
    if resting.mentions:
        names = dict.fromkeys(f"{mention.kind} {mention.entry}" for mention in resting.mentions)
        yield from wrapped(f"mentioned by {', '.join(names)}", "  - ")


def _by_place(claims: tuple[CitedClaim, ...]) -> dict[tuple[str, str], list[str]]:
    """Entries by the place in the source they cite; an entry that cites it for several things counts them."""
    by_place: dict[tuple[str, str], Counter[str]] = {}
    for claim in claims:
        by_place.setdefault((claim.where, claim.known), Counter())[f"{claim.kind} {claim.entry}"] += 1
    return {
        place: [name if times == 1 else f"{name} ({times} times)" for name, times in counts.items()]
        for place, counts in by_place.items()
    }
