"""The shapes of what the plan is made of: steps, choices, interactions, drills, kit, drugs, readiness, lens."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from planner.claims import Basis, Entry, Names, Number, When, Whole, YesNo
from planner.conditions import ALWAYS, NUMBER_TESTS, Any_, Condition, Not, Test, compare
from planner.rulebook.shapes import Slug, StepId

Seat = Literal["temporal", "superior"]


class Pause(Entry):
    if_: str = Field(alias="if")
    then: str

    @property
    def words(self) -> str:
        return f"{self.if_}; {self.then}"


class StepLine(Entry):
    """Lines a step gains when the condition holds on record.

    With `consultant_does` the step is never the trainee's.
    """

    id: Slug
    when: When
    consultant_does: YesNo = False
    do: list[str] = []
    watch: list[str] = []
    pause_if: list[Pause] = []
    basis: Basis


class Step(Entry):
    """A step of the operation, in order. `difficulty` 1 to 5, the factors' `harder_steps` add to it."""

    id: StepId
    label: str
    difficulty: Annotated[Whole, Field(ge=0, le=5)]
    difficulty_basis: Basis
    think: list[str]
    hand_over_if: list[str] = []
    done_well: str
    lines: list[StepLine]

    @property
    def short(self) -> str:
        """The plain name, where several stand in a row: a label may end in the trade's word in brackets."""
        return self.label.partition(" (")[0]


EquipmentIds = Annotated[list[Slug], Names("equipment")]


class KitNeeds(Entry):
    essential: EquipmentIds = []
    preferred: EquipmentIds = []


class Device(Entry):
    """A device as the drawing of the eye shows it: dashed while it is only to hand, `if-needed`.

    Hooks have a `number` in the option's own words and `marks`, how many of them are drawn; without both they are
    named and not drawn. `beneath_incision` sets the first hook there, the others evenly round. A pupil ring is drawn
    at `size_mm`. `note` says when it goes in, or what may take its place.
    """

    device: Literal["iris-hooks", "pupil-ring", "capsule-hooks", "tension-ring"]
    placed: Literal["planned", "if-needed"]
    number: str | None = None
    marks: Whole | None = None
    beneath_incision: YesNo = False
    size_mm: Number | None = None
    note: str

    @property
    def is_hooks(self) -> bool:
        return self.device in ("iris-hooks", "capsule-hooks")

    @model_validator(mode="after")
    def _fits_the_device(self) -> Device:
        if self.marks is not None and str(self.marks) not in re.findall(r"\d+", self.number or ""):
            raise ValueError(f"{self.device}: `marks` is a number that `number` names; no other may be drawn")
        ring = self.device == "pupil-ring"
        if not self.is_hooks and (self.number or self.marks or self.beneath_incision):
            raise ValueError(f"{self.device}: `number`, `marks` and `beneath_incision` are of hooks")
        if ring is not (self.size_mm is not None):
            raise ValueError(f"{self.device}: `size_mm` is the diameter of a pupil ring, in mm, and of nothing else")
        return self


class DrugLine(Entry):
    """A line to do that gives a drug; where the drug is barred it prints the bar and what serves instead."""

    drug: Annotated[Slug, Names("drug")]
    do: str


class Option(Entry):
    """A whole way of doing a step. `outranks` names options that lose to it where both conditions hold.

    `strict` marks an option that gives a block, a drug, a dye or an implant: it is not written on the record alone
    while something unknown may bar it. `also` gives lines that belong to other steps, `drug_lines` lines that give a
    drug. With `consultant_does` the step is never the trainee's; an `idle` one does nothing in its step.

    The drawing of the eye takes `opening_mm` (least and most diameter of the capsule opening), `seat` (where the
    surgeon sits, left out where that is open), `main_incision` (`open`: shown at the seat as one the surgeon places;
    left out where findings decide its place, and then not shown), `side_ports` (how many) and `drawn`.
    """

    id: Slug
    label: str
    when: When
    outranks: list[Slug] = []
    safer_when_unknown: YesNo = False
    strict: YesNo = False
    consultant_does: YesNo = False
    idle: YesNo = False
    do: list[str]
    drug_lines: list[DrugLine] = []
    also: dict[StepId, list[str]] = {}
    watch: list[str] = []
    pause_if: list[Pause] = []
    why: str
    prepared_as: str | None = None
    kit: KitNeeds = KitNeeds()
    drugs: Annotated[list[Slug], Names("drug")] = []
    opening_mm: tuple[Number, Number] | None = None
    seat: Seat | None = None
    main_incision: Seat | Literal["open"] | None = None
    side_ports: Annotated[Whole, Field(ge=0, le=2)] = 0
    drawn: list[Device] = []
    basis: Basis

    @model_validator(mode="after")
    def _opening_from_least_to_most(self) -> Option:
        if self.opening_mm is not None and not 0 < self.opening_mm[0] <= self.opening_mm[1]:
            raise ValueError(f"{self.id}: `opening_mm` gives the least diameter, then the most, in mm")
        return self


class Choice(Entry):
    """The ways of doing a step. What is not recorded is looked for `before` the step's first irreversible act.

    `first_act` is the step of that act where it is not the choice's own; `before` the words of it, as in "Before any
    fluid".
    """

    id: Slug
    step: Annotated[StepId, Names("step")]
    question: str
    first_act: StepId | None = None
    before: str | None = None
    options: list[Option] = Field(min_length=1)

    @property
    def names(self) -> list[str]:
        """Its options, each as `choice.option`."""
        return [f"{self.id}.{option.id}" for option in self.options]

    @property
    def act(self) -> StepId:
        """The step of its first irreversible act."""
        return self.first_act or self.step


class Raise(Entry):
    """An interaction that lifts the tier above what bands and floors give."""

    id: Slug
    when: When
    tiers: Annotated[Whole, Field(ge=1, le=3)]
    because: str
    basis: Basis


class InteractionRule(Entry):
    """A line with force between findings and what the plan would do.

    `of` names what it is about: `option: choice.option`, `kit: item`, `drug: item` or `step: step`. A withhold
    removes an option (the next best wins) or a drug, and says `instead`; a require brings kit into the room; order puts
    the step `first` before the step it is about. A prefer or tell is printed.
    """

    id: Slug
    force: Literal["withhold", "require", "order", "prefer", "tell"]
    when: When
    of: dict[Literal["option", "kit", "drug", "step"], str]
    first: StepId | None = None
    text: str
    instead: str | None = None
    hazard: str | None = None
    basis: Basis

    @property
    def about(self) -> str:
        """The id of what it is about."""
        return next(iter(self.of.values()))

    @model_validator(mode="after")
    def _can_be_acted_on(self) -> InteractionRule:
        if len(self.of) != 1:
            raise ValueError(f"{self.id}: `of` names exactly one option, kit, drug or step")
        about = next(iter(self.of))
        acted = {"withhold": ("option", "drug"), "require": ("kit",), "order": ("step",)}.get(self.force)
        if acted and about not in acted:
            raise ValueError(f"{self.id}: a {self.force} of a {about} is not acted on; of {' or '.join(acted)} it is")
        if (self.first is not None) and self.force != "order":
            raise ValueError(f"{self.id}: `first` belongs to an order")
        if self.force == "withhold" and not (self.instead and self.hazard):
            what = "a withhold says what to do instead, and the hazard the withheld thing was for"
            raise ValueError(f"{self.id}: {what}")
        return self


class Interactions(Entry):
    raises: list[Raise]
    rules: list[InteractionRule]


class Caution(Entry):
    id: Slug
    when: When
    text: str
    basis: Basis


class DrillStep(Entry):
    """One thing to do; where it gives a `drug` that is barred in this eye, the bar prints in its place."""

    do: str
    drug: Annotated[Slug | None, Names("drug")] = None
    basis: Basis | None = None


class Likely(Entry):
    """What makes a drill likely in an eye, and how likely, from 1 to 9; the heaviest that holds counts."""

    when: When
    weight: Annotated[Whole, Field(ge=1, le=9)]


class Drill(Entry):
    """A contingency drill: signs that start it, the first thing to stop, ordered steps, when to call, what to leave.

    `danger` from 1 to 9 is how much it costs where it is missed. Drills of an eye come by their weight, then danger;
    the first few are the likely ones. `always_in_full` prints its steps in every plan.
    """

    id: Slug
    label: str
    danger: Annotated[Whole, Field(ge=1, le=9)]
    likely: list[Likely] = []
    always_in_full: YesNo = False
    signs: list[str] = Field(min_length=1)
    stop_first: str
    steps: list[DrillStep] = Field(min_length=1)
    call: str
    kit: EquipmentIds = []
    leave: str
    basis: Basis

    @property
    def likely_when(self) -> Condition:
        """When anything makes it likely."""
        return Any_(tuple(likely.when for likely in self.likely)) if self.likely else Not(ALWAYS)


class Equipment(Entry):
    id: Slug
    label: str
    without: str | None = None  # what a unit that lacks it does, where the item is only preferred


class Contraindication(Entry):
    """A bar: the condition in words (`label`; default, the condition itself), why, and what to give instead."""

    id: Slug
    when: When
    label: str | None = None
    because: str
    instead: str
    basis: Basis


class Drug(Entry):
    """A drug with its facts, never a computed dose: the prescriber decides. Of the same `one_of` only one is given."""

    id: Slug
    label: str
    one_of: str | None = None
    route: str
    concentration: str
    dose: str
    maximum: str | None = None
    withhold: list[Contraindication] = []
    check: list[str] = []
    basis: Basis


class Kit(Entry):
    always: EquipmentIds
    equipment: list[Equipment]
    drugs: list[Drug]
    formulary_note: str


class Settle(Entry):
    """A reason to settle first when it holds or may (unless `only_when_certain`), and who does, or finds out."""

    id: Slug
    when: When
    because: str
    settled_by: str
    looked_for_by: str | None = None
    only_when_certain: YesNo = False
    basis: Basis


class ReadinessRules(Entry):
    settle: list[Settle]
    not_recorded: str


class SulcusBand(Entry):
    """Bag power (dioptres) range and the change for the ciliary sulcus, the two ends when a range is printed."""

    more_than: Number | None = None
    at_least: Number | None = None
    at_most: Number | None = None
    less_than: Number | None = None
    change: tuple[Number, Number]

    @property
    def limits(self) -> list[Test]:
        """The comparisons of a bag power that it makes."""
        return [Test("", how, limit) for how in NUMBER_TESTS if (limit := getattr(self, how)) is not None]

    def covers(self, power: float) -> bool:
        return all(compare(limit, power) for limit in self.limits)


class SulcusTable(Entry):
    id: Slug
    label: str
    bands: list[SulcusBand]
    basis: Basis

    def covers(self, power: float) -> bool:
        return any(band.covers(power) for band in self.bands)


class Lens(Entry):
    sulcus_tables: list[SulcusTable]
    captured: str
    captured_basis: Basis
    note: str
    note_basis: Basis


class Recheck(Entry):
    """Asked again at the table where `when` holds, and what is worse than planned; `{finding_id}` is filled in."""

    when: When = ALWAYS
    ask: str
    worse_than: str


class OutcomeAsk(Entry):
    """Asked after the operation, with the answers to tick."""

    ask: str
    answers: list[str] = Field(min_length=2)


class Theatre(Entry):
    """The words of the printed sheet that carry a clinical promise."""

    recheck: list[Recheck]
    outcome: list[OutcomeAsk]
    technique_not_written: str
    once_in_view: str
    recheck_not_recorded: str
    recheck_then: str
    deferral: list[str]
    range_note: str
    score_note: str
