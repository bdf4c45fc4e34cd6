"""`planner rules sources`: what rests on each source, and what still rests on memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from textwrap import wrap
from typing import TYPE_CHECKING

import typer

from planner.cli.options import JsonOption, RulesOption, rulebook_in

if TYPE_CHECKING:
    from planner.rulebook.citations import CitedClaim, SourceUse
    from planner.rulebook.rulebook import Rulebook

WIDTH = 110


def sources(rules: RulesOption = None, json: JsonOption = False) -> None:
    """List each source with what rests on it, then what still rests on memory, then sources that nothing cites.

    A source that is named only in a note counts as mentioned: nothing rests on it there.

    Example: planner rules sources --rules rules
    """
    from planner.cli.assess import in_json
    from planner.rulebook.citations import citations

    rulebook = rulebook_in(rules)
    found = citations(rulebook)
    typer.echo(in_json(_data(rulebook, found), many=False) if json else "\n".join(_text(rulebook, found)))


def _from_memory(found: list[SourceUse]) -> list[CitedClaim]:
    return [claim for resting in found for claim in resting.claims if claim.known == "from-memory"]


def _data(rulebook: Rulebook, found: list[SourceUse]) -> dict[str, object]:
    header = rulebook.header
    return {
        "rulebook": {"id": header.id, "version": header.version, "sha256": rulebook.sha256, "status": header.status},
        "sources": [
            {
                **resting.source.model_dump(),
                "claims": [asdict(claim) for claim in resting.claims],
                "mentions": [asdict(mention) for mention in resting.mentions],
            }
            for resting in found
        ],
        "from_memory": [asdict(claim) for claim in _from_memory(found)],
        "uncited": [resting.source.id for resting in found if resting.is_uncited],
    }


def _text(rulebook: Rulebook, found: list[SourceUse]) -> Iterator[str]:
    header = rulebook.header
    remembered = _from_memory(found)
    uncited = [resting.source.id for resting in found if resting.is_uncited]
    mentioned = sum(not resting.claims and bool(resting.mentions) for resting in found)
    claims = sum(len(resting.claims) for resting in found)
    yield f"{header.id} {header.version} ({header.status}), sha256 {rulebook.sha256[:12]}"
    of_sources = f"{_count(len(found), 'source')}, {mentioned} of them only mentioned"
    yield f"{of_sources}; {_count(claims, 'published claim')}, {len(remembered)} of them from memory"
    yield from ("", "What rests on each source")
    for resting in found:
        yield from _resting(resting)
    yield from ("", "What still rests on memory")
    for claim in remembered:
        yield from _line(f"{claim.at}: {claim.kind} {claim.entry} ({claim.part}): {claim.source}, {claim.where}", "  ")
    if not remembered:
        yield "  nothing"
    yield from ("", "Sources that nothing cites")
    yield f"  {', '.join(uncited) or 'none'}"


def _resting(resting: SourceUse) -> Iterator[str]:
    source = resting.source
    yield ""
    counts = [_count(len(resting.claims), "claim")] if resting.claims else ["nothing rests on it"]
    counts += [_count(len(resting.mentions), "mention")] if resting.mentions else []
    yield from _line(f"{source.id}, {source.known.replace('-', ' ')}: {', '.join(counts)}", "")
    yield from _line(f"{source.citation} {source.locator}".strip(), "  ")
    if source.read:
        yield from _line(f"read: {source.read}", "  ")
    for (where, known), entries in _by_place(resting.claims).items():
        yield from _line(f"{where} ({known.replace('-', ' ')}): {', '.join(entries)}", "  - ")
    if resting.mentions:
        names = dict.fromkeys(f"{mention.kind} {mention.entry}" for mention in resting.mentions)
        yield from _line(f"mentioned by {', '.join(names)}", "  - ")


def _by_place(claims: tuple[CitedClaim, ...]) -> dict[tuple[str, str], list[str]]:
    """Entries by the place in the source they cite; an entry that cites it for several things counts them."""
    found: dict[tuple[str, str], dict[str, int]] = {}
    for claim in claims:
        counts = found.setdefault((claim.where, claim.known), {})
        name = f"{claim.kind} {claim.entry}"
        counts[name] = counts.get(name, 0) + 1
    return {
        place: [name if times == 1 else f"{name} ({times} times)" for name, times in counts.items()]
        for place, counts in found.items()
    }


def _count(number: int, of: str) -> str:
    return f"{number} {of}{'' if number == 1 else 's'}"


def _line(text: str, start: str) -> list[str]:
    after = " " * (len(start) + 2)
    return wrap(text, WIDTH, initial_indent=start, subsequent_indent=after, break_on_hyphens=False)
