"""The basis of a claim as it prints: a published source by its number in the list, everything else in words."""

from __future__ import annotations

import re

from planner.plan.plan import CitedSource

_PUBLISHED = re.compile(r"published: ([a-z0-9-]+), ")


class Citations:
    """Turns `published: source-key, where (seen)` into `[3] where (seen)`, and knows afterwards what was cited."""

    def __init__(self, sources: tuple[CitedSource, ...]) -> None:
        self.sources = {source.id: source for source in sources}
        self.used: set[str] = set()

    def __call__(self, basis: str) -> str:
        return _PUBLISHED.sub(self._numbered, basis)

    def _numbered(self, found: re.Match[str]) -> str:
        return f"{self.number(found[1])} " if found[1] in self.sources else found[0]

    def number(self, source: str) -> str:
        """`[3]` for a source key, nothing when the plan does not list it."""
        if source not in self.sources:
            return ""
        self.used.add(source)
        return f"[{self.sources[source].number}]"

    def cited(self) -> tuple[CitedSource, ...]:
        """The sources cited so far, by number."""
        return tuple(source for source in self.sources.values() if source.id in self.used)
