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
class Gate:
    """What stands above a step as a question: what would have to be found, and what is then done instead.

    `findings` by id, `asks` the same in words, `named` in fewer: a factor stands for the findings that are signs of it;
    `together` says that all of them are needed, otherwise any one.
    `option` is the choice's other option, None for a line of the step. `before` words the choice's first irreversible
    act; `seen` says that it can be looked for before it, in theatre. With `once_clear` a more cautious way is written
    until these have been looked for and found as `asks` has them.
    """

    findings: tuple[str, ...]
    asks: tuple[str, ...]
    named: tuple[str, ...]
    together: bool
    option: str | None
    label: str
    do: tuple[str, ...]
    before: str | None
    seen: bool
    once_clear: bool = False


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
    """The option written for a choice. `provisional` when missing findings leave another option possible: `if_found`
    says what would have to be found for each. `prepared_as` words a more cautious option than the one on record.

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
    if_found: tuple[Gate, ...]
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
    gates: tuple[Gate, ...] = ()
    idle: bool = False  # nothing is done in this step in this eye
    barred: tuple[str, ...] = ()  # lines of `do` whose drug is barred or waits for a check, with what serves instead
    reserved: bool = False  # the rulebook gives it to no trainee in this eye, whatever the tier or mode


@dataclass(frozen=True)
class PlannedDrill:
    """Drills come by how likely this eye makes them, then by how much they cost: at most a few are `likely`.

    `in_full` ones print their steps, the others one line (label and the first thing to stop). `may_be_likely` ones
    would be so if something were found that is not recorded.
    """

    id: str
    label: str
    likely: bool
    may_be_likely: bool
    in_full: bool
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

    `certain` is false when only a provisional choice wants it. `if-found` kit is made ready for what is not recorded.
    """

    id: str
    label: str
    need: Literal["always", "essential", "preferred", "if-found"]
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
    one_of: str | None = None  # of drugs that share it only one is given


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
    target: str | None = None  # the one step that is taught today, by its label


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
    that whoever approved had prepared the case, or a part of it. `covers` is `table`, the tier with whoever operates,
    or `as-named`, this stage (`stage_named`, by its label), supervision and steps alone; empty where nothing says it.
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
    covers: str = ""
    stage_named: str = ""


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
    recheck_unknown: int = 0  # so many of `recheck`, its first, are of what is not recorded
    approval: Approval | None = None  # given once a consultant has approved; what is planned does not rest on it

    @property
    def has_technique(self) -> bool:
        """Whether enough is recorded for a technique to be written."""
        return self.assessment.tier.on_record is not None
