"""What lists are made from and judged by, as plain data: cases, people, sessions, minutes, and the placings."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import cached_property

from planner.case import Stage
from planner.lists.roster.shapes import Session, Supervisor, Wishes
from planner.lists.week.overrun import Time
from planner.lists.week.urgency import Waiting
from planner.truth import Truth
from planner.wording.words import eye_words

Key = tuple[str, str]  # reference and eye
CONSULTANT = "consultant"
WITHOUT_TRAINEE = "consultant-only"


@dataclass(frozen=True)
class SupervisionNeed:
    """How close the supervisor of this eye is, and who, with a trainee of one stage; the steps that trainee takes."""

    mode: str
    by: str
    steps: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether the trainee does the whole operation."""
        return self.mode not in ("consultant-operates", WITHOUT_TRAINEE)


@dataclass(frozen=True)
class Covering:
    """What the approval of a case lets be placed: trainees of `stages`, or a consultant alone, while it `stands`.

    `says` is what was approved, or why nothing stands, in words; `id` is the approval's in the records. `on_operator`
    is a condition on who operates, which people must judge.
    """

    stands: bool
    stages: frozenset[Stage]
    says: str
    id: int | None = None
    on_operator: str = ""

    def covers(self, stage: Stage | None) -> bool:
        return self.stands and (stage is None or stage in self.stages)


@dataclass(frozen=True)
class Fellow:
    """The patient's other eye where it is on none of these lists: operated on already, or to be, on `day` (None: not
    known). `review_due`: its review must be on record by now; otherwise it is asked for."""

    in_words: str
    day: datetime.date | None
    review_due: bool


@dataclass(frozen=True)
class ListCase:
    """One eye as lists see it. Truths are None where the finding is not recorded.

    `with_stage` gives the supervision for each stage of trainee. `kit` names essential items with their labels.
    `order` holds, for each fixed place of the rulebook, whether this case has it. `unsettled` are the reasons to settle
    first other than consent and agreement. `last_day` is the deadline, `why_then` its reason; waiting counts from
    `since`, the date of listing where `listed`, else the day recorded. `alerts` are what the room must know, in words,
    each with whether it holds; `alert_kinds` the kind of each by its words: allergy, infection, other. `away` and
    `not_before` say when the patient cannot come, `short_notice` whether they can for a place that falls free. `dated`
    are measurements that grow old: label, day, days that they hold.
    `late_because`: why the organiser accepts that it comes after its last day. `reviewed_on` is the day on which the
    first eye was examined after its operation. `approval` is None for cases from files, of which nobody approved any.
    """

    reference: str
    eye: str
    patient: str | None
    tier: int
    with_stage: dict[Stage, SupervisionNeed]
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
    alert_kinds: dict[str, str] = field(default_factory=dict)
    away: frozenset[datetime.date] = frozenset()
    not_before: datetime.date | None = None
    approval: Covering | None = None
    fellow: Fellow | None = None
    reviewed_on: datetime.date | None = None
    short_notice: Truth = None
    since: datetime.date | None = None
    listed: bool = False
    recorded_on: datetime.date | None = None
    dated: tuple[tuple[str, datetime.date | None, int], ...] = ()
    general_anaesthetic: Truth = None
    recovery: Truth = None
    late_because: str | None = None

    @property
    def covered_stages(self) -> frozenset[Stage | None] | None:
        """Who may operate by the approval: stages, and None for a consultant alone; None where nobody was asked."""
        if self.approval is None:
            return None
        return frozenset((*self.approval.stages, None)) if self.approval.stands else frozenset()

    @property
    def key(self) -> Key:
        return self.reference, self.eye

    @property
    def waiting(self) -> Waiting:
        return Waiting(self.urgency, self.since, self.listed, self.last_day, self.why_then)

    @property
    def in_words(self) -> str:
        return eye_words(self.reference, self.eye)

    @property
    def added_minutes(self) -> float:
        return sum(minutes for _, minutes in self.added)


@dataclass(frozen=True)
class Trainee:
    """`steps_cleared` is None for one cleared for whole operations, who may take any step the plan leaves them.

    `target`, `needs` and `shown_tier` are wishes, as in the sessions file; None where that says nothing. `done` are
    whole operations before these lists.
    """

    id: str
    stage: Stage
    steps_cleared: frozenset[str] | None
    leave: frozenset[datetime.date]
    target: int | None = None
    needs: frozenset[str] = frozenset()
    shown_tier: int | None = None
    done: int = 0

    @property
    def open_target(self) -> int | None:
        """Whole operations that they still lack; None without a target."""
        return None if self.target is None else max(0, self.target - self.done)


@dataclass(frozen=True)
class FixedOrder:
    id: str
    first: bool
    because: str
    basis: str
    asked: str  # the finding's words, for a case where it is not recorded

    def rank(self, case: ListCase) -> int:
        """Where a case comes among others by this rule: none comes after one of a higher rank. Not recorded comes
        between the two where it would be first; last is only who is known to be."""
        known = case.order[self.id]
        if self.first:
            return 0 if known else 1 if known is None else 2
        return 1 if known else 0


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
    """Placings to be judged. `both_eyes_agreed` names patients who may have both eyes on one day."""

    placings: tuple[Placing, ...]
    both_eyes_agreed: frozenset[str] = frozenset()

    @cached_property
    def placed(self) -> frozenset[Key]:
        """The cases that have a place."""
        return frozenset(placing.case for placing in self.placings)


@dataclass(frozen=True)
class Instance:
    """Everything a list is judged by. Orders of dictionaries are those of the files.

    `published` are the lists that people have seen; staying close to them is a wish, no rule. `begun` are the cases
    that are done or in hand. `on` is the day of planning; None: that of the first session. Once a session runs, `taken`
    has the minutes from its start until its next case can begin; `away_because` says why somebody is away on a day,
    where that is not leave. `both_eyes_agreed` names the patients with whom both eyes on one day were agreed.
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
    night_from: datetime.time
    days_between_eyes: int
    days_between_eyes_basis: str
    wishes: Wishes
    published: Lists = Lists(())
    begun: frozenset[Key] = frozenset()
    on: datetime.date | None = None
    taken: dict[str, float] = field(default_factory=dict)
    away_because: dict[tuple[str, datetime.date], str] = field(default_factory=dict)
    both_eyes_agreed: frozenset[str] = frozenset()

    @property
    def empty(self) -> Lists:
        """Lists with nothing on them yet."""
        return Lists((), self.both_eyes_agreed)

    @cached_property
    def as_published(self) -> dict[Key, Placing]:
        """Where the published lists have each case."""
        return {placing.case: placing for placing in self.published.placings}

    @cached_property
    def wanted(self) -> dict[str, int | None]:
        """How many whole operations count in full for each trainee on these lists; None for any number. Up to their
        target; an independent one without a target has none while another's target is open."""
        some_open = any(learner.open_target for learner in self.trainees.values())
        return {
            name: 0 if learner.target is None and learner.stage == "independent" and some_open else learner.open_target
            for name, learner in self.trainees.items()
        }

    @cached_property
    def planned_on(self) -> datetime.date:
        return self.on or min(session.day for session in self.sessions.values())

    @cached_property
    def coming(self) -> tuple[Session, ...]:
        """The sessions from the day of planning on; nobody can be put on one that is over."""
        return tuple(session for session in self.sessions.values() if session.day >= self.planned_on)

    @cached_property
    def first_day(self) -> datetime.date:
        return min((session.day for session in self.coming), default=self.planned_on)

    @cached_property
    def last_session_day(self) -> datetime.date:
        return max(session.day for session in self.sessions.values())

    @cached_property
    def past_their_date(self) -> frozenset[Key]:
        """Cases whose last day comes before any session from the day of planning on, or that may come after it."""
        return frozenset(
            key for key, case in self.cases.items()
            if case.last_day is not None and (case.last_day < self.first_day or case.late_because is not None)
        )  # fmt: skip

    @cached_property
    def of_patients(self) -> dict[str, frozenset[Key]]:
        """The cases of each patient who has a pseudonym."""
        by_patient: dict[str, set[Key]] = defaultdict(set)
        for key, case in self.cases.items():
            if case.patient is not None:
                by_patient[case.patient].add(key)
        return {patient: frozenset(keys) for patient, keys in by_patient.items()}

    def on_days(self, lists: Lists, *days: datetime.date) -> Lists:
        """What of lists stands on these days."""
        return replace(lists, placings=tuple(p for p in lists.placings if self.sessions[p.session].day in days))

    def turn(self, key: Key) -> tuple[object, ...]:
        """Whose turn it is, the least first: past its date, then by urgency, then by waiting."""
        return (*self.cases[key].waiting.turn(key in self.past_their_date), key)

    @cached_property
    def most_added(self) -> float:
        """The most minutes that the devices of any one case add."""
        return max((case.added_minutes for case in self.cases.values()), default=0)
