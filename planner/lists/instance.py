"""What lists are made from and judged by, as plain data: cases, people, sessions, minutes, and the placings."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from functools import cached_property

from planner.case import Stage
from planner.lists.minutes import Time
from planner.lists.roster import Session, Supervisor, Wishes
from planner.truth import Truth

Key = tuple[str, str]  # reference and eye
CONSULTANT = "consultant"
WITHOUT_TRAINEE = "consultant-only"


@dataclass(frozen=True)
class Supervision:
    """How close the supervisor of this eye is, and who, with a trainee of one stage; the steps that trainee takes."""

    mode: str
    by: str
    steps: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether the trainee does the whole operation."""
        return self.mode not in ("consultant-operates", WITHOUT_TRAINEE)


@dataclass(frozen=True)
class ListCase:
    """One eye as lists see it. Truths are None where the finding is not recorded.

    `with_stage` gives the supervision for each stage of trainee. `kit` names essential items with their labels.
    `order` holds, for each fixed place of the rulebook, whether this case has it. `unsettled` are the reasons to settle
    first other than consent and agreement. `last_day` is the deadline, `why_then` its reason. `alerts` are what the
    room must know, in words, each with whether it holds. `away` and `not_before` say when the patient cannot come.
    """

    reference: str
    eye: str
    patient: str | None
    tier: int
    with_stage: dict[Stage, Supervision]
    kit: dict[str, str]
    added: tuple[tuple[str, float], ...]  # device, minutes
    anaesthetist: Truth
    order: dict[str, Truth]
    consent: Truth
    agreement: Truth
    unsettled: tuple[str, ...]
    urgency: str | None
    last_day: datetime.date | None
    why_then: str
    lens_power: float | None = None  # dioptres
    backup_power: float | None = None
    lens_material: str | None = None
    alerts: tuple[tuple[str, Truth], ...] = ()
    away: frozenset[datetime.date] = frozenset()
    not_before: datetime.date | None = None

    @property
    def key(self) -> Key:
        return self.reference, self.eye

    @property
    def told(self) -> str:
        return f"{self.reference}, {self.eye} eye"

    @property
    def added_minutes(self) -> float:
        return sum(minutes for _, minutes in self.added)


@dataclass(frozen=True)
class Trainee:
    """`steps_cleared` is None for one cleared for whole operations, who may take any step the plan leaves them.

    `target`, `needs` and `shown_tier` are wishes, as in the sessions file; None where that says nothing.
    """

    id: str
    stage: Stage
    steps_cleared: frozenset[str] | None
    leave: frozenset[datetime.date]
    target: int | None = None
    needs: frozenset[str] = frozenset()
    shown_tier: int | None = None


@dataclass(frozen=True)
class FixedOrder:
    id: str
    first: bool
    because: str
    basis: str
    asked: str  # the finding's words, for a case where it is not recorded


@dataclass(frozen=True, order=True)
class Placing:
    """A case in its place: `place` counts from 1. Without a trainee the supervisor, a consultant, operates."""

    session: str
    place: int
    case: Key
    trainee: str | None
    supervisor: str


@dataclass(frozen=True)
class Lists:
    """Placings to be judged. `both_eyes_agreed` names patients who may have both eyes on one list."""

    placings: tuple[Placing, ...]
    both_eyes_agreed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Instance:
    """Everything a list is judged by. Orders of dictionaries are those of the files.

    `published` are the lists that people have seen; staying close to them is a wish, no rule. `begun` are the cases
    that are done or in hand. Once a session runs, `taken` has the minutes from its start until its next case can
    begin; `away_because` says why somebody is away on a day, where that is not leave.
    """

    cases: dict[Key, ListCase]
    trainees: dict[str, Trainee]
    supervisors: dict[str, Supervisor]
    sessions: dict[str, Session]
    times: dict[str, Time]  # by stage, and the consultant's
    times_basis: str
    turnover: float
    overrun_chance: float
    order: tuple[FixedOrder, ...]
    anaesthetist_because: str
    near_powers: float  # dioptres
    wishes: Wishes
    published: Lists = Lists(())
    begun: frozenset[Key] = frozenset()
    taken: dict[str, float] = field(default_factory=dict)
    away_because: dict[tuple[str, datetime.date], str] = field(default_factory=dict)

    @cached_property
    def as_published(self) -> dict[Key, Placing]:
        """Where the published lists have each case."""
        return {placing.case: placing for placing in self.published.placings}

    @cached_property
    def first_day(self) -> datetime.date:
        return min(session.day for session in self.sessions.values())

    @cached_property
    def most_added(self) -> float:
        """The most minutes that the devices of any one case add."""
        return max((case.added_minutes for case in self.cases.values()), default=0)
