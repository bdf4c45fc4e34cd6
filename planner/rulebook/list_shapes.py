"""The shapes of what a theatre list is planned with: minutes by operator, what adds to them, and fixed places."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field

from planner.claims import Basis, Entry, Names, Number, When, Whole
from planner.rulebook.shapes import Slug

Minutes = Annotated[Number, Field(gt=0, le=600)]
ListOperator = Literal["steps-only", "early", "middle", "late", "independent", "consultant"]
OPERATORS: tuple[ListOperator, ...] = get_args(ListOperator)


class Grade(Entry):
    """Operating minutes of a published grade: mean and standard deviation."""

    id: Slug
    mean: Minutes
    sd: Minutes
    basis: Basis


class StandsFor(Entry):
    operator: ListOperator
    grade: Annotated[Slug, Names("grade")]
    basis: Basis


class Addition(Entry):
    """Minutes that a device adds where the plan sets it or has it to hand."""

    device: Literal["iris-hooks", "pupil-ring", "capsule-hooks", "tension-ring"]
    minutes: Minutes
    basis: Basis


class Turnover(Entry):
    minutes: Annotated[Number, Field(ge=0, le=600)]
    basis: Basis


class Shape(Entry):
    family: Literal["lognormal"]
    words: str
    basis: Basis


class OverrunLimit(Entry):
    chance_at_most: Annotated[Number, Field(gt=0, lt=1)]
    basis: Basis


class OwnLog(Entry):
    """How many operations of one operator a unit's log must hold to be used, and as how many the published count."""

    least_cases: Annotated[Whole, Field(ge=2)]
    published_counts_as: Annotated[Whole, Field(ge=1)]
    basis: Basis


class Durations(Entry):
    grades: list[Grade]
    stands_for: list[StandsFor]
    additions: list[Addition]
    turnover: Turnover
    shape: Shape
    overrun: OverrunLimit
    own_log: OwnLog

    def grade_of(self, operator: str) -> Grade:
        """The grade that stands for a stage or the consultant."""
        name = next(row.grade for row in self.stands_for if row.operator == operator)
        return next(grade for grade in self.grades if grade.id == name)


class FixedPlace(Entry):
    """Cases that come before all others on a list, or after all others."""

    id: Slug
    place: Literal["first", "last"]
    when: When
    because: str
    basis: Basis


class Needed(Entry):
    """Something a case needs on the day, and when. `settles` names the reasons to settle first that it answers."""

    when: When
    because: str
    settles: Annotated[list[Slug], Names("reason to settle first")] = []
    basis: Basis


class Alert(Entry):
    """What stands beside a case on the printed list, in few words; allergies and infection stand apart."""

    id: Slug
    kind: Literal["allergy", "infection", "other"] = "other"
    when: When
    says: str
    basis: Basis


class Night(Entry):
    """From what time of the evening on a theatre in use is not known to have rested until the morning."""

    starts: Annotated[str, Field(alias="from", pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
    because: str
    basis: Basis


class Eyes(Entry):
    """Days at least between the operations on the two eyes of one patient."""

    days_between: Annotated[Whole, Field(ge=0)]
    because: str
    basis: Basis


class Clashes(Entry):
    """What is shown beside a list and never reordered: neighbours whose lens powers, in dioptres, are this near."""

    near_powers_d: Annotated[Number, Field(ge=0)]
    because: str
    basis: Basis


class TakenOff(Entry):
    """Why a case is taken off a list: the reasons offered, so that the same ones can be counted."""

    reasons: Annotated[list[str], Field(min_length=1)]
    basis: Basis


class ListRules(Entry):
    order: list[FixedPlace]
    night: Night
    eyes: Eyes
    clashes: Clashes
    alerts: list[Alert]
    anaesthetist: Needed
    general_anaesthetic: Needed
    recovery: Needed
    agreement: Needed
    consent: Needed
    taken_off: TakenOff
