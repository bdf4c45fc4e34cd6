"""What a plan holds: the decided choices, the steps with who, do, watch and pause, drills, kit, drugs, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planner.assess.assessment import Assessment
from planner.rulebook.plan_shapes import Seat

# Ends a line to do that is planned only because a finding is not recorded.
IF_FOUND = " (if found: not recorded)"


@dataclass(frozen=True)
class Rejected:
    """An option not prepared. `possible` is true when it could still be the one, once what is missing is recorded."""

    option: str
    label: str
    possible: bool
    because: str


@dataclass(frozen=True)
class PlannedDevice:
    """A device for the drawing of the eye: `marks` hooks, or a pupil ring of `size_mm`; the rest in words."""

    device: Literal["iris-hooks", "pupil-ring", "capsule-hooks", "tension-ring"]
    placed: Literal["planned", "if-needed"]
    number: str | None
    marks: int | None
    beneath_incision: bool
    size_mm: float | None
    note: str


@dataclass(frozen=True)
class Chosen:
    """The option prepared for a choice. `provisional` when missing findings leave another option possible.

    The eye is drawn from `opening_mm`, `seat` (None: left open), `main_incision` (open: the surgeon places it, None:
    findings decide its place), `side_ports` (how many) and `drawn`.
    """

    choice: str
    step: str
    question: str
    option: str
    label: str
    provisional: bool
    prepared_as: str | None
    do: tuple[str, ...]
    watch: tuple[str, ...]
    pause_if: tuple[str, ...]
    why: str
    basis: str
    rejected: tuple[Rejected, ...]
    settled_by: tuple[str, ...]  # labels of findings which, recorded, would settle the choice
    opening_mm: tuple[float, float] | None
    seat: Seat | None
    main_incision: Seat | Literal["open"] | None
    side_ports: int
    drawn: tuple[PlannedDevice, ...]


@dataclass(frozen=True)
class PlannedStep:
    id: str
    label: str
    number: int
    who: Literal["trainee", "supervisor"]
    difficulty: int
    harder_because: tuple[str, ...]
    headline: str  # the prepared options' labels, in a few words
    think: tuple[str, ...]
    do: tuple[str, ...]
    watch: tuple[str, ...]
    pause_if: tuple[str, ...]
    hand_over_if: tuple[str, ...]
    done_well: str
    rule_ids: tuple[str, ...]


@dataclass(frozen=True)
class PlannedDrill:
    """`likely` drills print in full, the others as one line (label and the first thing to stop).

    `may_be_likely` ones come next: a finding that is not recorded would make them so.
    """

    id: str
    label: str
    likely: bool
    may_be_likely: bool
    signs: tuple[str, ...]
    stop_first: str
    steps: tuple[str, ...]
    call: str
    kit: tuple[str, ...]
    leave: str
    basis: str


@dataclass(frozen=True)
class KitItem:
    """`lacking` when the unit's list does not hold it; `note` says what that means.

    `certain` is false when only a provisional choice wants it.
    """

    id: str
    label: str
    need: Literal["always", "essential", "preferred"]
    lacking: bool
    certain: bool
    note: str
    for_: tuple[str, ...]


@dataclass(frozen=True)
class PlannedDrug:
    """`state` gives, holds back until something is checked, or withholds with what to do instead."""

    id: str
    label: str
    route: str
    concentration: str
    dose: str
    maximum: str | None
    state: Literal["as-prescribed", "not-until-checked", "withheld"]
    reasons: tuple[str, ...]
    instead: tuple[str, ...]
    contraindications: tuple[str, ...]
    check: tuple[str, ...]
    basis: str


@dataclass(frozen=True)
class PlannedCaution:
    """`certain` is false when the caution may apply because something is not recorded."""

    id: str
    text: str
    certain: bool
    basis: str


@dataclass(frozen=True)
class PlannedRule:
    """A line with force that holds or may hold for this case."""

    id: str
    force: Literal["withhold", "require", "order", "prefer", "tell"]
    about: str
    text: str
    instead: str | None
    hazard: str | None
    certain: bool
    basis: str


@dataclass(frozen=True)
class PlannedSupervision:
    mode: str
    by: str
    stage: str
    stage_label: str
    words: str
    because: tuple[str, ...]
    trainee_steps: tuple[str, ...]
    hand_back: tuple[str, ...]
    take_over_words: str
    contact: str | None


@dataclass(frozen=True)
class SulcusRow:
    """The change for the ciliary sulcus that one published table prints for this bag power, in dioptres."""

    table: str
    change: tuple[float, float]
    basis: str


@dataclass(frozen=True)
class PlannedLens:
    """Powers are shown as recorded, never computed: they are read from the biometry sheet."""

    power_d: float | None
    backup_power_d: float | None
    material: str | None
    biometry_reference: str | None
    biometry_date: str | None
    sulcus: tuple[SulcusRow, ...]
    captured: str
    captured_basis: str
    note: str
    note_basis: str


@dataclass(frozen=True)
class CitedSource:
    number: int
    id: str
    citation: str
    read: str
    locator: str
    known: str


@dataclass(frozen=True)
class ChangedStep:
    """A step by its label, in whose hands the rulebook puts it, and in whose it was approved."""

    label: str
    planned: str
    approved: str


@dataclass(frozen=True)
class Approval:
    """A consultant's word on the allocation: both tiers and why they differ; `at` is an ISO time, the unit's own.

    `tier_label` is of the tier approved; modes and steps are given where they were approved with it. `own_case` says
    that whoever approved had prepared the case, or a part of it.
    """

    by: str
    at: str
    tier_by_rulebook: int
    tier_approved: int
    conditions: str
    reason: str
    tier_label: str = ""
    mode_by_rulebook: str = ""
    mode_approved: str = ""
    steps: tuple[ChangedStep, ...] = ()
    own_case: bool = False


@dataclass(frozen=True)
class Plan:
    assessment: Assessment
    unit: str | None
    choices: dict[str, Chosen]
    steps: tuple[PlannedStep, ...]
    drills: tuple[PlannedDrill, ...]
    kit: tuple[KitItem, ...]
    drugs: tuple[PlannedDrug, ...]
    formulary_note: str
    cautions: tuple[PlannedCaution, ...]
    rules: tuple[PlannedRule, ...]
    supervision: PlannedSupervision
    lens: PlannedLens
    recheck: tuple[tuple[str, str], ...]  # (ask, worse than)
    recheck_then: str
    deferral: tuple[str, ...]
    range_note: str
    score_note: str
    scale_note: str
    sources: tuple[CitedSource, ...]
    title: str
    draft_line: str | None
    approval: Approval | None = None  # given once a consultant has approved; what is planned does not rest on it
