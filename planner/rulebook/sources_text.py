"""What rests on each source, and what still rests on memory, as words and as data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict

from planner.rulebook.citations import CitedClaim, SourceUse
from planner.rulebook.rulebook import Rulebook
from planner.wording.words import counted, wrapped


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
    yield from wrapped(f"{source.citation} {source.locator}".strip(), "  ")
    if source.read:
        yield from wrapped(f"read: {source.read}", "  ")
    for (where, known), entries in _by_place(resting.claims).items():
        yield from wrapped(f"{where} ({known.replace('-', ' ')}): {', '.join(entries)}", "  - ")
    if resting.mentions:
        names = dict.fromkeys(f"{mention.kind} {mention.entry}" for mention in resting.mentions)
        yield from wrapped(f"mentioned by {', '.join(names)}", "  - ")


def _by_place(claims: tuple[CitedClaim, ...]) -> dict[tuple[str, str], list[str]]:
    """Entries by the place in the source they cite; an entry that cites it for several things counts them."""
    by_place: dict[tuple[str, str], dict[str, int]] = {}
    for claim in claims:
        counts = by_place.setdefault((claim.where, claim.known), {})
        name = f"{claim.kind} {claim.entry}"
        counts[name] = counts.get(name, 0) + 1
    return {
        place: [name if times == 1 else f"{name} ({times} times)" for name, times in counts.items()]
        for place, counts in by_place.items()
    }
