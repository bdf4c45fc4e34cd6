"""The basis of a claim as it prints: a published source by its number in the list, everything else in words."""

from __future__ import annotations

from planner.claims import Basis
from planner.plan.plan import CitedSource


class Citations:
    """Says a published basis as `[3] where (seen)`, and knows afterwards what was cited."""

    def __init__(self, sources: tuple[CitedSource, ...]) -> None:
        self.sources = {source.id: source for source in sources}
        self.used: set[str] = set()

    def __call__(self, basis: Basis) -> str:
        if basis.source not in self.sources:
            return basis.words
        return f"{self.number(basis.source)} {basis.place}"

    def number(self, source: str) -> str:
        """`[3]` for a source key, nothing when the plan does not list it."""
        if source not in self.sources:
            return ""
        self.used.add(source)
        return f"[{self.sources[source].number}]"

    def cited(self) -> tuple[CitedSource, ...]:
        """The sources cited so far, by number."""
        return tuple(source for source in self.sources.values() if source.id in self.used)
