"""What an assessment says. Ranges are over the allowed completions of missing findings, never confidence intervals."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Literal

from planner.case import Case
from planner.claims import Basis
from planner.rulebook.shapes import Era, OddsModel, PublishedRate
from planner.wording.reasons import FactorReason, SettleReason, State, TierReason, UnaskedFinding
from planner.wording.words import counted


@dataclass(frozen=True)
class Range:
    """Least and most over allowed completions, both reached where `proved`, and the reading on record if any."""

    least: float
    most: float
    on_record: float | None = None
    proved: bool = True

    @property
    def settled(self) -> bool:
        return self.least == self.most


@dataclass(frozen=True)
class RulebookIdentity:
    id: str
    version: str
    sha256: str
    status: str


@dataclass(frozen=True)
class FactorState:
    """One factor as judged. `points` is what it adds: 0 when it does not hold or a heavier one of its group counts."""

    id: str
    label: str
    reason: FactorReason
    points: int
    most_points: int
    harm: str
    floor: int | None
    basis: Basis
    rates: tuple[str, ...] = ()

    @property
    def state(self) -> State:
        return self.reason.state

    @property
    def because(self) -> str:
        return self.reason.words

    @property
    def counts(self) -> str:
        """What it adds, in words: `3 points, tier 4 at least`."""
        points = counted(self.points, "point") if self.points else ""
        floor = f"tier {self.floor} at least" if self.floor else ""
        return ", ".join(filter(None, (points, floor)))


@dataclass(frozen=True)
class TierResult:
    """Two readings: `on_record`, of the plain eye that the record allows (None where too little is recorded), and
    `working`, until the rest is known: the more cautious end of the range.

    `decided_by` is what demands the working tier, `on_record_by` what demands the one on record. Without
    `proved` the search for the ends ran out of its limit, and the tier lies within them.
    """

    working: int
    least: int
    most: int
    label: str
    meaning: str
    decided_by: tuple[TierReason, ...]
    on_record: int | None = None
    on_record_label: str = ""
    on_record_by: tuple[TierReason, ...] = ()
    proved: bool = True


@dataclass(frozen=True)
class OperatorProbability:
    operator: str
    published_grade: str
    least: float
    most: float
    on_record: float | None = None


@dataclass(frozen=True)
class NotCounted:
    """A factor that the model is blind to and that holds or may hold, with its own published rates."""

    factor: str
    label: str
    certain: bool
    rates: tuple[PublishedRate, ...]

    @property
    def rate_words(self) -> tuple[str, ...]:
        return tuple(f"{rate.text} ({rate.basis.words})" for rate in self.rates)


@dataclass(frozen=True)
class Recentred:
    """The baseline re-centred on an era, the audit of a `period`, or both: for printed probabilities, not the tier."""

    events: int
    cases: int
    weight: float
    baseline: float
    era: Era | None
    period: str = ""

    @property
    def on(self) -> str:
        """What it rests on in a few words."""
        audit = "this unit's audit" if self.period else ""
        if self.era is None:
            return audit
        return f"{self.era.label} and {audit}" if audit else self.era.label

    @property
    def note(self) -> str:
        """What it rests on in full."""
        grounds = []
        if self.era is not None:
            rate, basis = f"{100 * self.era.rate:.2f} %", self.era.basis.words
            grounds.append(f"{self.era.label} ({rate} of all operations, {basis})")
        if self.period:
            seen = f"{self.events} events in {self.cases} cases ({self.period})"
            grounds.append(f"this unit's audit, {seen}, weight {self.weight:.0%}")
        on = grounds[0] if len(grounds) == 1 else f"{grounds[0]} and then on {grounds[1]}"
        return f"re-centred on {on}, over an assumed case mix; the tier keeps the published baseline"


@dataclass(frozen=True)
class Probability:
    model: OddsModel
    baseline: float
    by_operator: dict[str, OperatorProbability]
    not_counted: tuple[NotCounted, ...]
    recentred: Recentred | None


@dataclass(frozen=True)
class ScoreGroupShown:
    label: str
    meaning: str | None
    rates: dict[str, tuple[int, int]]


@dataclass(frozen=True)
class PublishedScore:
    id: str
    authors: str
    first_author: str
    outcome: str
    points: Range
    groups: tuple[ScoreGroupShown, ...]
    source: str


@dataclass(frozen=True)
class Readiness:
    state: Literal["ready", "settle-first"]
    because: tuple[SettleReason, ...]


@dataclass(frozen=True)
class MissingFinding:
    """A finding not recorded, the sitting at which it would be (`look`), and the tier it could demand alone, or 0."""

    finding: str
    label: str
    would_settle: str
    settles_tier: bool
    essential: bool
    settled_by: str | None = None
    look: str = ""
    demands: int = 0


@dataclass(frozen=True)
class NeededLook:
    """One sitting that would record missing findings: who, how many minutes, and whether they can move the tier."""

    look: str
    label: str
    who: str
    minutes: int
    findings: tuple[str, ...]
    labels: tuple[str, ...]
    settles: bool


@dataclass(frozen=True)
class Lever:
    """A correctable finding which, put right before surgery, lowers the working tier."""

    finding: str
    label: str
    to: str
    how: str
    tier: int
    factor: str
    basis: str


@dataclass(frozen=True)
class Assessment:
    case: Case
    rulebook: RulebookIdentity
    on: datetime.date | None
    factors: tuple[FactorState, ...]
    points: Range
    tier: TierResult
    probability: Probability
    published_scores: tuple[PublishedScore, ...]
    readiness: Readiness
    missing: tuple[MissingFinding, ...]
    looks: tuple[NeededLook, ...]
    smallest_set: tuple[str, ...]
    levers: tuple[Lever, ...]
    queries: tuple[str, ...] = ()
    notes: tuple[UnaskedFinding, ...] = field(default=())
