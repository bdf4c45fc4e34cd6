"""The unit's sessions file: who may operate and supervise, when they are away, which sessions there are, and limits."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError

from planner import strict_yaml
from planner.case import STAGES
from planner.claims import Day, Entry, Number, Whole, YesNo
from planner.errors import Fault, PlannerError
from planner.lists.minutes import LONGEST
from planner.rulebook import misfits
from planner.rulebook.references import nearest
from planner.rulebook.rulebook import Rulebook, Spot
from planner.rulebook.shapes import By, StepId
from planner.unit import Unit

LARGEST_FILE = 500_000
Present = Literal["scrubbed", "in-theatre", "on-site"]
_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d")


def _clock(raw: Any) -> Any:
    if isinstance(raw, datetime.time):
        return raw
    if not isinstance(raw, str) or not _CLOCK.fullmatch(raw):
        raise ValueError(f"{raw!r} is not a time of day; write it like 08:30")
    return datetime.time.fromisoformat(raw)


Clock = Annotated[datetime.time, BeforeValidator(_clock)]


class Learner(Entry):
    """A trainee of the unit's file. `steps_cleared` counts for one who is not yet cleared for whole operations.

    What they still need: `target` whole operations on these lists, `needs` of steps. `shown_tier` is the highest tier
    they have shown they can take a whole operation in, 0 for none; left out, nothing is taken as shown.
    """

    id: str
    steps_cleared: list[StepId] = []
    leave: list[Day] = []
    target: Annotated[Whole, Field(ge=0)] | None = None
    needs: list[StepId] = []
    shown_tier: Annotated[Whole, Field(ge=0, le=4)] | None = None


class Supervisor(Entry):
    """`can` says how close they may supervise; `on_site_rooms` how many rooms they cover from outside at once."""

    id: str
    grade: By
    can: list[Present] = Field(min_length=1)
    on_site_rooms: Annotated[Whole, Field(ge=1)] = 1
    leave: list[Day] = []


class Patient(Entry):
    """When a patient, by pseudonym, cannot come: single days, and every day before one."""

    id: str
    away: list[Day] = []
    not_before: Day | None = None


class KitSets(Entry):
    """Sets in the room, and minutes until a used one is ready again (left out: not that day)."""

    sets: Annotated[Whole, Field(ge=0)]
    ready_again_after: Annotated[Whole, Field(ge=1)] | None = None


class Session(Entry):
    """A theatre for some minutes. `kit` names what is counted there; other kit is as the unit's file says."""

    id: str
    day: Day
    starts: Clock
    theatre: str
    minutes: Annotated[Whole, Field(ge=30, le=LONGEST)]
    anaesthetist: YesNo
    supervisors: list[str]
    kit: dict[str, KitSets] = {}

    @property
    def span(self) -> tuple[datetime.datetime, datetime.datetime]:
        begins = datetime.datetime.combine(self.day, self.starts)
        return begins, begins + datetime.timedelta(minutes=self.minutes)

    @property
    def told(self) -> str:
        """`morning-1 (Tue 2026-12-01 08:30, theatre 1)`."""
        return f"{self.id} ({self.day:%a} {self.day} {self.starts:%H:%M}, {self.theatre})"

    def meets(self, other: Session) -> bool:
        """Whether the two run at the same time for a while."""
        return self.span[0] < other.span[1] and other.span[0] < self.span[1]


class OwnMinutes(Entry):
    """Operating minutes from the unit's own log, instead of the published ones."""

    mean: Annotated[Number, Field(gt=0, le=LONGEST)]
    sd: Annotated[Number, Field(gt=0, le=LONGEST)]
    cases: Annotated[Whole, Field(ge=1)]


class Limits(Entry):
    """What is left out is the rulebook's. `within_days` runs from the day a case was recorded."""

    overrun_chance: Annotated[Number, Field(gt=0, lt=1)] | None = None
    turnover_minutes: Annotated[Number, Field(ge=0)] | None = None
    operating_minutes: dict[str, OwnMinutes] = {}
    within_days: dict[Literal["soon", "urgent"], Annotated[Whole, Field(ge=0)]] = {}


class Wishes(Entry):
    """Weights of what the matching prefers among places that keep every rule; 0 leaves a wish out.

    `placed`: a case has a place at all. `whole_operation` and `named_steps`: a trainee operates, or takes named steps.
    `toward_target`: a whole operation of one who has fewer than their target on these lists. `needed_step`: each step
    that they take and still need. `just_beyond`: a whole operation one tier above the highest they have shown.
    `hard_together`: less for each eye of tier 3 or 4 beyond the first on one list.
    `fair_share`: less for each case that a trainee has on these lists beyond the mean of all trainees. `waiting`: less
    for each day from the first session on. `closer_than_needed`: less where a consultant supervises what a trainer may.
    `few_changes`: a case stays in its published session with its people; half of it with other people.
    `hardest` is no weight: whether the highest tier comes first, while all are fresh, or last. It yields to every rule.
    """

    placed: Annotated[Number, Field(ge=0)] = 20.0
    whole_operation: Annotated[Number, Field(ge=0)] = 10.0
    named_steps: Annotated[Number, Field(ge=0)] = 4.0
    toward_target: Annotated[Number, Field(ge=0)] = 6.0
    needed_step: Annotated[Number, Field(ge=0)] = 1.0
    just_beyond: Annotated[Number, Field(ge=0)] = 3.0
    hard_together: Annotated[Number, Field(ge=0)] = 2.0
    fair_share: Annotated[Number, Field(ge=0)] = 1.0
    waiting: Annotated[Number, Field(ge=0)] = 0.2
    closer_than_needed: Annotated[Number, Field(ge=0)] = 1.0
    few_changes: Annotated[Number, Field(ge=0)] = 8.0
    hardest: Literal["first", "last"] | None = None


class Roster(Entry):
    trainees: list[Learner]
    supervisors: list[Supervisor]
    sessions: list[Session] = Field(min_length=1)
    patients: list[Patient] = []
    limits: Limits = Limits()
    wishes: Wishes = Wishes()


def read_roster(path: Path, unit: Unit, rulebook: Rulebook) -> Roster:
    """Read and check a sessions file against unit and rulebook. Raises PlannerError with every fault."""
    document = strict_yaml.read(strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path)), str(path))
    spot = Spot(document)
    try:
        roster = Roster.model_validate(document.data)
    except ValidationError as error:
        raise PlannerError(list(misfits.faults_of(error, Roster, spot))) from None
    faults = [*_repeated(roster, spot), *_unknown(roster, unit, rulebook, spot), *_clashing(roster, spot)]
    if faults:
        raise PlannerError(faults)
    return roster


def _repeated(roster: Roster, spot: Spot) -> Iterator[Fault]:
    people: dict[str, str] = {}
    listed: tuple[tuple[str, Sequence[Learner | Supervisor | Patient]], ...] = (
        ("trainees", roster.trainees),
        ("supervisors", roster.supervisors),
        ("patients", roster.patients),
    )
    for key, entries in listed:
        for index, person in enumerate(entries):
            where = spot.at(key, index, "id")
            if person.id in people:
                yield Fault(where, f"{person.id!r} stands twice", f"first at {people[person.id]}", "one entry a person")
            people.setdefault(person.id, where)
    sessions: dict[str, str] = {}
    for index, session in enumerate(roster.sessions):
        where = spot.at("sessions", index, "id")
        if session.id in sessions:
            yield Fault(where, f"{session.id!r} stands twice", f"first at {sessions[session.id]}", "an id of its own")
        sessions.setdefault(session.id, where)


def _unknown(roster: Roster, unit: Unit, rulebook: Rulebook, spot: Spot) -> Iterator[Fault]:
    trainees = {trainee.id for trainee in unit.trainees}
    for index, learner in enumerate(roster.trainees):
        if learner.id not in trainees:
            why = "stage and count of operations stand there"
            what = f"no trainee {learner.id!r} in {unit.unit}"
            yield Fault(spot.at("trainees", index, "id"), what, why, nearest(learner.id, trainees))
    supervisors = {supervisor.id for supervisor in roster.supervisors}
    equipment = {item.id for item in rulebook.kit.equipment}
    for index, session in enumerate(roster.sessions):
        for place, name in enumerate(session.supervisors):
            if name not in supervisors:
                where = spot.at("sessions", index, "supervisors", place)
                yield Fault(where, f"no supervisor {name!r}", hint=nearest(name, supervisors))
        for name in session.kit:
            if name not in equipment:
                where = spot.at("sessions", index, "kit", name)
                yield Fault(where, f"no equipment {name!r} in the rulebook", hint=nearest(name, equipment))
    operators = [*STAGES, "consultant"]
    for name in roster.limits.operating_minutes:
        if name not in operators:
            where = spot.at("limits", "operating_minutes", name)
            yield Fault(where, f"no operator {name!r}", hint=f"one of {', '.join(operators)}")


def _clashing(roster: Roster, spot: Spot) -> Iterator[Fault]:
    """Two sessions in one theatre at one time."""
    for (_, one), (index, other) in combinations(enumerate(roster.sessions), 2):
        if one.theatre == other.theatre and one.meets(other):
            what = f"{other.id} is in {other.theatre} while {one.id} still runs there"
            yield Fault(spot.at("sessions", index), what, "one theatre has one table", "other hours, or fewer minutes")
