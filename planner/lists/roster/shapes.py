"""The unit's sessions file: who may operate and supervise, when they are away, which sessions there are, and limits."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from planner import strict_yaml
from planner.case import Stage
from planner.claims import Day, Entry, Number, Whole, YesNo
from planner.errors import Fault, PlannerError
from planner.rulebook.list_shapes import OPERATORS
from planner.rulebook.references import unknown
from planner.rulebook.rulebook import Rulebook, Spot
from planner.rulebook.shapes import By, StepId
from planner.rulebook.validation_errors import read_as
from planner.strict_yaml import Place
from planner.unit import Unit
from planner.wording.words import day_words

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
SHORTEST_SESSION, LONGEST_SESSION = 30, 720  # minutes
LONGEST_OPERATION = 720  # minutes, as logged or as the unit gives them
SessionMinutes = Annotated[Whole, Field(ge=SHORTEST_SESSION, le=LONGEST_SESSION)]


class Learner(Entry):
    """A trainee of the unit's file. `steps_cleared` counts for one who is not yet cleared for whole operations.

    What they still need: `target` whole operations, of which `done` are behind them, and `needs` of steps. With the
    records, `done` is counted there, from the day `counts_from` on, and not read here. `shown_tier` is the highest tier
    they have shown they can take a whole operation in, 0 for none; left out, nothing is taken as shown.
    """

    id: str
    steps_cleared: list[StepId] = []
    leave: list[Day] = []
    target: Annotated[Whole, Field(ge=0)] | None = None
    done: Annotated[Whole, Field(ge=0)] = 0
    counts_from: Day | None = None
    needs: list[StepId] = []
    shown_tier: Annotated[Whole, Field(ge=0, le=4)] | None = None

    def cleared_at(self, stage: Stage) -> frozenset[str] | None:
        """The steps that they may take at a stage; None for any, once they are cleared for whole operations."""
        return frozenset(self.steps_cleared) if stage == "steps-only" else None


class Supervisor(Entry):
    """`can` says how close they may supervise; `on_site_rooms` how many rooms they cover from outside at once."""

    id: str
    grade: By
    can: list[Present] = Field(min_length=1)
    on_site_rooms: Annotated[Whole, Field(ge=1)] = 1
    leave: list[Day] = []


class Patient(Entry):
    """When a patient, by pseudonym, cannot come: single days, and every day before one.

    `short_notice`: whether they can come for a place that falls free shortly before; `both_eyes_agreed`: whether both
    eyes on one day were agreed with them. Left out, nobody has asked.
    """

    id: str
    away: list[Day] = []
    not_before: Day | None = None
    short_notice: YesNo | None = None
    both_eyes_agreed: YesNo | None = None


class LateCase(Entry):
    """A case for which the organiser accepts that it comes later than it is needed, and why."""

    case: str
    eye: Literal["right", "left"]
    because: str


class KitSets(Entry):
    """Sets in the room, and minutes until a used one is ready again (left out: not that day)."""

    sets: Annotated[Whole, Field(ge=0)]
    ready_again_after: Annotated[Whole, Field(ge=1)] | None = None


class Session(Entry):
    """A theatre for some minutes. `kit` names what is counted there; other kit is as the unit's file says.

    `most_cases`, `most_general_anaesthetics` and `recovery_places` (patients of this session whom the recovery room
    takes) are the unit's own limits; left out, there is none.
    """

    id: str
    day: Day
    starts: Clock
    theatre: str
    minutes: SessionMinutes
    anaesthetist: YesNo
    supervisors: list[str]
    kit: dict[str, KitSets] = {}
    most_cases: Annotated[Whole, Field(ge=1)] | None = None
    most_general_anaesthetics: Annotated[Whole, Field(ge=0)] | None = None
    recovery_places: Annotated[Whole, Field(ge=0)] | None = None

    @property
    def span(self) -> tuple[datetime.datetime, datetime.datetime]:
        begins = datetime.datetime.combine(self.day, self.starts)
        return begins, begins + datetime.timedelta(minutes=self.minutes)

    @property
    def room(self) -> str:
        return room_of(self.theatre)

    @property
    def in_words(self) -> str:
        """`morning-1 (Tue 1 December 2026 08:30, theatre 1)`."""
        return f"{self.id} ({self.day:%a} {day_words(self.day)} {self.starts:%H:%M}, {self.theatre})"

    def meets(self, other: Session) -> bool:
        """Whether the two run at the same time for a while."""
        return self.span[0] < other.span[1] and other.span[0] < self.span[1]


def room_of(theatre: str) -> str:
    """A theatre's name as it is compared: capitals and spaces make no other room."""
    return " ".join(theatre.split()).casefold()


class OwnMinutes(Entry):
    """Operating minutes from the unit's own log, instead of the published ones."""

    mean: Annotated[Number, Field(gt=0, le=LONGEST_OPERATION)]
    sd: Annotated[Number, Field(gt=0, le=LONGEST_OPERATION)]
    cases: Annotated[Whole, Field(ge=1)]


class Limits(Entry):
    """What is left out is the rulebook's, or is no limit where that gives none.

    `within_days` are the unit's waiting targets; they run from the date of listing, or else from the day a case was
    recorded. `lead_days`: calendar days that a lens or an item of kit takes from order to shelf.
    `days_between_eyes` are those from the operation on a patient's one eye to that on the other, at least.
    """

    overrun_chance: Annotated[Number, Field(gt=0, lt=1)] | None = None
    turnover_minutes: Annotated[Number, Field(ge=0)] | None = None
    operating_minutes: dict[str, OwnMinutes] = {}
    days_between_eyes: Annotated[Whole, Field(ge=0)] | None = None
    within_days: dict[Literal["routine", "soon", "urgent"], Annotated[Whole, Field(ge=0)]] = {}
    lead_days: dict[Literal["lens", "kit"], Annotated[Whole, Field(ge=0)]] = {}


class Wishes(Entry):
    """Weights of what the matching prefers among places that keep every rule; 0 leaves a wish out.

    `placed`: a case has a place at all.
    `whole_operation` and `named_steps`: a trainee operates, or takes named steps. A whole operation beyond a trainee's
    target, or of an independent one without a target while another's is open, counts as named steps at most.
    `toward_target`: more for each whole operation up to the target. `needed_step`: each step that they take and still
    need. `just_beyond`: a whole operation one tier above the highest they have shown.
    `hard_together`: less for each eye of tier 3 or 4 beyond the first on one list.
    `fair_share`: less for each case that a trainee has on these lists beyond the mean of all trainees. `waiting`: less
    for each day from the first session on, so many times as the case is urgent: 1 routine, 2 not recorded, 3 soon,
    4 urgent. `urgency`: a place for a case that is not routine, once for each of these steps above it. `past_its_date`:
    for a case past its date, each day before the day after the last session, and a tenth more for each of these steps.
    `closer_than_needed`: less where a consultant supervises what a trainer may.
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
    urgency: Annotated[Number, Field(ge=0)] = 20.0
    past_its_date: Annotated[Number, Field(ge=0)] = 30.0
    closer_than_needed: Annotated[Number, Field(ge=0)] = 1.0
    few_changes: Annotated[Number, Field(ge=0)] = 8.0
    hardest: Literal["first", "last"] | None = None


class Roster(Entry):
    trainees: list[Learner]
    supervisors: list[Supervisor]
    sessions: list[Session] = Field(min_length=1)
    patients: list[Patient] = []
    late_accepted: list[LateCase] = []
    limits: Limits = Limits()
    wishes: Wishes = Wishes()


def read_roster(path: Path, unit: Unit, rulebook: Rulebook) -> Roster:
    """Read and check a sessions file against unit and rulebook. Raises PlannerError with every fault."""
    roster, spot = read_as(Roster, strict_yaml.read_file(path, str(path), LARGEST_FILE))
    faults = faults_between(roster, unit, rulebook, spot)
    if faults:
        raise PlannerError(faults)
    return roster


def faults_between(roster: Roster, unit: Unit, rulebook: Rulebook, spot: Spot) -> list[Fault]:
    """What is wrong among entries that each have their shape, and with unit and rulebook."""
    return [
        *_repeated(roster, spot, ("trainees", "supervisors", "patients"), "one entry a person"),
        *_repeated(roster, spot, ("sessions",), "an id of its own"),
        *_unknown(roster, unit, rulebook, spot),
        *_respelt(roster, spot),
        *_clashing(roster, spot),
    ]


def _repeated(roster: Roster, spot: Spot, fields: tuple[str, ...], hint: str) -> Iterator[Fault]:
    first: dict[str, Place] = {}
    for field in fields:
        for index, entry in enumerate(getattr(roster, field)):
            place = (field, index, "id")
            before = first.setdefault(entry.id, place)
            if before != place:
                yield spot.fault(place, f"{entry.id!r} stands twice", f"first at {spot.at(*before)}", hint, before)


def _unknown(roster: Roster, unit: Unit, rulebook: Rulebook, spot: Spot) -> Iterator[Fault]:
    trainees, why = {trainee.id for trainee in unit.trainees}, "stage and count of operations stand there"
    for index, learner in enumerate(roster.trainees):
        place: Place = ("trainees", index, "id")
        yield from unknown(spot, place, "trainee", learner.id, trainees, f" in {unit.unit}", why)
    supervisors = {supervisor.id for supervisor in roster.supervisors}
    equipment = {item.id for item in rulebook.kit.equipment}
    for index, session in enumerate(roster.sessions):
        for number, name in enumerate(session.supervisors):
            yield from unknown(spot, ("sessions", index, "supervisors", number), "supervisor", name, supervisors)
        for name in session.kit:
            place = ("sessions", index, "kit", name)
            yield from unknown(spot, place, "equipment", name, equipment, " in the rulebook")
    for name in roster.limits.operating_minutes:
        if name not in OPERATORS:
            hint = f"one of {', '.join(OPERATORS)}"
            yield spot.fault(("limits", "operating_minutes", name), f"no operator {name!r}", hint=hint)


def _respelt(roster: Roster, spot: Spot) -> Iterator[Fault]:
    """One theatre written in two ways, which would print as two."""
    first: dict[str, int] = {}
    for index, session in enumerate(roster.sessions):
        before = first.setdefault(session.room, index)
        written, at = roster.sessions[before].theatre, roster.sessions[before].id
        if written != session.theatre:
            what = f"{session.theatre!r} is {written!r}, as {at} has it, in other letters"
            why, hint = "capitals and spaces make no other theatre", f"write {written!r}, or another name"
            yield spot.fault(("sessions", index, "theatre"), what, why, hint, ("sessions", before))


def _clashing(roster: Roster, spot: Spot) -> Iterator[Fault]:
    """Two sessions in one theatre at one time."""
    clashing: list[tuple[int, int]] = []
    running: dict[str, list[int]] = {}
    for index, session in sorted(enumerate(roster.sessions), key=lambda pair: pair[1].span):
        still = [other for other in running.get(session.room, []) if roster.sessions[other].meets(session)]
        clashing += [(min(other, index), max(other, index)) for other in still]
        running[session.room] = [*still, index]
    for before, index in sorted(clashing):
        one, other = roster.sessions[before], roster.sessions[index]
        what = f"{other.id} is in {other.theatre} while {one.id} still runs there"
        hint = "other hours, or fewer minutes"
        yield spot.fault(("sessions", index), what, "one theatre has one table", hint, ("sessions", before))
