"""What `planner rules compare` found, as words and as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from textwrap import shorten
from typing import Any

from planner.case import Case
from planner.compare.compare import CaseChange, Comparison, Kind
from planner.compare.outcome import ORDER
from planner.wording.words import counted, eye_words, wrapped

Changed = list[tuple[Case, tuple[CaseChange, ...]]]
WIDTH = 110
SHOWN_IN_FULL = 30
WAYS_SHOWN = 3
# How a result moved is told for these; of the others how many did.
WAYS_OF = ("allowed", "tier", "supervision", "readiness", "choice", "who", "drug")
KINDS: dict[Kind, str] = {
    "major": "major, something that decides is not as it was",
    "minor": "minor, something is new, and what was there stays as it was",
    "patch": "patch, only words or citations differ; if the new words tell to do something else, major",
    "none": "none, the two say the same",
}


def as_data(comparison: Comparison, changed: Changed, total: int) -> dict[str, Any]:
    vocabulary = comparison.old.vocabulary
    return {
        "old": comparison.old.identity,
        "new": comparison.new.identity,
        "differences": [
            {
                "kind": each.kind,
                "id": each.name,
                "state": each.state,
                "at": each.at,
                "fields": [
                    {"part": f.part, "from": f.before, "to": f.after, "decides": f.decides} for f in each.fields
                ],
            }
            for each in comparison.differences
        ],
        "compared": total,
        "changed": len(changed),
        "kind": _kind(comparison, changed),
        "cases": [
            {
                "case": case.reference,
                "eye": case.eye,
                "planned_stage": case.planned_stage,
                "findings": {name: vocabulary.by_id[name].written(value) for name, value in case.findings.items()},
                "changes": [
                    {
                        "what": change.what,
                        "id": change.name,
                        "from": change.before,
                        "to": change.after,
                        "because": [f"{felt.difference.kind} {felt.difference.name}" for felt in change.because],
                    }
                    for change in changes
                ],
            }
            for case, changes in changed
        ],
    }


def as_text(comparison: Comparison, read: Changed, drawn: Changed, totals: tuple[int, int]) -> Iterator[str]:
    for name, rulebook in (("OLD", comparison.old), ("NEW", comparison.new)):
        yield f"{name}  {rulebook.header.id} {rulebook.header.version}, sha256 {rulebook.sha256[:12]}"
    yield from ("", "Entries that differ")
    for each in comparison.differences:
        yield from wrapped(f"{each.at}: {each.words}", "  ")
    if not comparison.differences:
        yield "  none"
    if totals[0]:
        yield from ("", f"{len(read)} of {totals[0]} cases change")
        yield from _in_full(read) if len(read) <= SHOWN_IN_FULL else _counted(read)
    if totals[1]:
        yield from ("", f"{len(drawn)} of {totals[1]} drawn cases change")
        yield from _counted(drawn)
    yield from ("", f"Kind of change: {KINDS[_kind(comparison, [*read, *drawn])]}")


def _kind(comparison: Comparison, changed: Changed) -> Kind:
    return comparison.kind(change for _, changes in changed for change in changes)


def _in_full(changed: Changed) -> Iterator[str]:
    for case, changes in changed:
        yield f"  {eye_words(case.reference, case.eye)}"
        together: dict[str, list[CaseChange]] = {}
        for change in changes:
            together.setdefault("; ".join(felt.words for felt in change.because), []).append(change)
        for because, group in together.items():
            for change in group:
                yield from _one(change)
            yield from wrapped(f"because {because}", "      ")


def _one(change: CaseChange) -> Iterator[str]:
    if isinstance(change.before, str) and isinstance(change.after, str):
        yield from wrapped(f"{change.result}: {change.before} -> {change.after}", "    ")
        return
    yield f"    {change.result}"
    for sign, lines in (("-", change.before), ("+", change.after)):
        yield from (shorten(line, WIDTH, initial_indent=f"      {sign} ", placeholder=" ...") for line in lines)


def _counted(changed: Changed) -> Iterator[str]:
    """How many cases each result changes in, because of which entries, and the commonest ways with a case of each."""
    by_result: dict[str, list[tuple[Case, CaseChange]]] = {}
    for case, changes in changed:
        for change in changes:
            by_result.setdefault(change.result, []).append((case, change))
    by_weight = sorted(by_result.items(), key=lambda item: (ORDER.index(item[1][0][1].what), -len(item[1])))
    for result, group in by_weight:
        number = counted(len(group), "case")
        yield from wrapped(f"{result}: {number}, because of {_behind(change for _, change in group)}", "  ")
        ways: dict[str, list[Case]] = {}
        for case, change in group:
            if change.what in WAYS_OF:
                ways.setdefault(f"{change.before} -> {change.after}", []).append(case)
        for way, cases in sorted(ways.items(), key=lambda item: -len(item[1]))[:WAYS_SHOWN]:
            start = f"  {len(cases):5}  {cases[0].reference}: "
            yield shorten(way, WIDTH, initial_indent=start, placeholder=" ...")
        if len(ways) > WAYS_SHOWN:
            yield f"         and {len(ways) - WAYS_SHOWN} ways more"
    if changed:
        yield "  each case, with its findings and all that changes: --json"


def _behind(changes: Iterable[CaseChange]) -> str:
    names = Counter(f"{felt.difference.kind} {felt.difference.name}" for change in changes for felt in change.because)
    more = f" and {len(names) - WAYS_SHOWN} others" if len(names) > WAYS_SHOWN else ""
    return ", ".join(name for name, _ in names.most_common(WAYS_SHOWN)) + more
