"""What a proof says: each claim with how it fared, counter-examples as case files, ranges, and what is not claimed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal


@dataclass(frozen=True)
class CounterExample:
    """A case, as a case file holds it, for which a claim fails.

    `then` holds the findings in which a second case differs (None: left out), for claims about a case made worse.
    """

    says: str
    case: dict[str, Any] = field(default_factory=dict)
    then: dict[str, str | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Claim:
    """One claim. `checks` counts the questions put to the solver or the cells looked at."""

    id: str
    text: str
    over: str
    checks: int
    seconds: float
    counter_examples: tuple[CounterExample, ...] = ()
    undecided: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def state(self) -> Literal["proved", "refuted", "undecided"]:
        if self.counter_examples:
            return "refuted"
        return "undecided" if self.undecided else "proved"


@dataclass(frozen=True)
class Proof:
    rulebook: str
    version: str
    status: str
    sha256: str
    claims: tuple[Claim, ...]
    ranges: tuple[str, ...]
    not_claimed: tuple[str, ...]
    seconds: float

    @property
    def holds(self) -> bool:
        return all(claim.state == "proved" for claim in self.claims)
