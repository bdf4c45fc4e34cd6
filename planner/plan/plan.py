"""What a plan holds: the decided choices, the steps with who, do, watch and pause, drills, kit, drugs, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planner.assess.assessment import Assessment
from planner.case import Stage
from planner.claims import Basis
from planner.rulebook.plan_shapes import Option, Pause
from planner.rulebook.shapes import By, Mode
from planner.wording.reasons import SupervisionReason, wanted_for
from planner.wording.tier import supervision_words
from planner.wording.words import lower_first

Hands = Literal["trainee", "supervisor"]


@dataclass(frozen=True)
class OtherOption:
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
class PlannedChoice:
    """The option written for a choice: its id and label, and as the rulebook has it (`way`).

    `provisional` when missing findings leave another option possible: `if_found` says what would have to be found for
    each. `prepared_as` words a more cautious option than the one on record. `settled_by` are labels of findings which,
    recorded, would settle the choice.
    """

    choice: str
    step: str
    question: str
    option: str
    label: str
    provisional: bool
    prepared_as: str | None
    if_found: tuple[Gate, ...]
    way: Option
    rejected: tuple[OtherOption, ...]
    settled_by: tuple[str, ...]


@dataclass(frozen=True)
class PlannedStep:
    """A step of this eye; in whose hands it is (`who`) is the allocation's, everything else the eye's.

    `headline` names the prepared options in a few words. `barred` are lines of `do` whose drug is barred or waits for
    a check, with what serves instead. `different` are lines of `do` that an ordinary eye would not have. In an `idle`
    step nothing is done in this eye; a `reserved` one is given to no trainee in this eye, whatever the tier or mode.
    """

    id: str
    label: str
    short: str
    number: int
    who: Hands
    difficulty: int
    harder_because: tuple[str, ...]
    headline: str
    think: tuple[str, ...]
    do: tuple[str, ...]
    watch: tuple[str, ...]
    pause_if: tuple[Pause, ...]
    hand_over_if: tuple[str, ...]
    done_well: str
    rule_ids: tuple[str, ...]
    gates: tuple[Gate, ...] = ()
    idle: bool = False
    barred: tuple[str, ...] = ()
    reserved: bool = False
    different: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlannedDrill:
    """A drill: `likely` in this eye, `may_be_likely` if something were found; those not `in_full` print as one line."""

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
    basis: Basis


@dataclass(frozen=True)
class KitItem:
    """An item that an option, a drill or every case wants; `lacking` when the unit's list does not hold it.

    `certain` is false when only a provisional choice wants it. `if-found` kit is made ready for what is not recorded.
    `without` is what the rulebook has a unit do that lacks an item which is only preferred.
    """

    id: str
    label: str
    need: Literal["always", "essential", "preferred", "if-found"]
    lacking: bool
    certain: bool
    without: str | None
    wanted_by: tuple[str, ...]

    @property
    def for_(self) -> tuple[str, ...]:
        """What it is wanted for, in words."""
        return wanted_for(self.need == "always", self.wanted_by)

    @property
    def note(self) -> str:
        """What it means that the unit lacks it; nothing where it does not."""
        if not self.lacking:
            return ""
        if self.need == "preferred":
            return self.without or "do without, and say so at the brief"
        is_open = self.need == "if-found"
        return "if found: stop, move the case" if is_open else "borrow it, move the case, or postpone"


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
    basis: Basis
    one_of: str | None = None  # of drugs that share it only one is given


@dataclass(frozen=True)
class PlannedCaution:
    """`certain` is false when the caution may apply because something is not recorded."""

    id: str
    text: str
    certain: bool
    basis: Basis


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
    basis: Basis


@dataclass(frozen=True)
class PlannedSupervision:
    """Where the supervisor is and who, in ids and in the rulebook's words, for a stage; `target` is taught today."""

    mode: Mode
    by: By
    stage: Stage
    stage_label: str
    mode_words: str
    by_words: str
    because: tuple[SupervisionReason, ...]
    trainee_steps: tuple[str, ...]
    hand_back: tuple[str, ...]
    take_over_words: str
    contact: str | None
    target: str | None = None
    target_short: str | None = None

    @property
    def words(self) -> str:
        return supervision_words(self.mode_words, self.by_words)


@dataclass(frozen=True)
class SulcusRow:
    """The change for the ciliary sulcus that one published table prints for this bag power, in dioptres."""

    table: str
    change: tuple[float, float]
    basis: Basis


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
    captured_basis: Basis
    note: str
    note_basis: Basis


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
    planned: Hands
    approved: Hands


@dataclass(frozen=True)
class Approval:
    """A consultant's word on the allocation: both tiers and why they differ; `at` is an ISO time, the unit's own.

    `tier_label` is of the tier approved; modes and steps are given where they were approved with it. `own_case` says
    that whoever approved had prepared the case, or a part of it. `covers` is `table`, the tier with whoever operates,
    or `as-named`, this stage (`stage_named`, in short `stage_short`), supervision and steps alone; empty where nothing
    says it.
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
    stage_short: str = ""


@dataclass(frozen=True)
class OpenFindings:
    """What is not recorded and can still be looked for in theatre at one sitting, `look`.

    `worse` is what would be worse than planned, finding by finding, and `heading` the rulebook's word for all of it.
    """

    heading: str
    look: str
    worse: tuple[str, ...]

    @property
    def ask(self) -> str:
        return f"{self.heading}: {lower_first(self.look)}"

    @property
    def words(self) -> str:
        return ", ".join(self.worse)


@dataclass(frozen=True, kw_only=True)
class EyePlan:
    """The part of a plan that no stage, tier or approval changes; its steps are in nobody's hands yet.

    `recheck` is what to ask at the table, and what is worse than planned; `recheck_unknown` is of what is not recorded.
    `outcome` is what the debrief sheet asks, and the answers to tick.
    `overrides` are the ids of the rulebook's overrides of supervision that hold or may hold in this eye.
    """

    assessment: Assessment
    unit: str | None
    contact: str | None
    choices: dict[str, PlannedChoice]
    steps: tuple[PlannedStep, ...]
    drills: tuple[PlannedDrill, ...]
    kit: tuple[KitItem, ...]
    drugs: tuple[PlannedDrug, ...]
    formulary_note: str
    cautions: tuple[PlannedCaution, ...]
    rules: tuple[PlannedRule, ...]
    lens: PlannedLens
    recheck: tuple[tuple[str, str], ...]
    recheck_unknown: tuple[OpenFindings, ...]
    recheck_then: str
    outcome: tuple[tuple[str, tuple[str, ...]], ...]
    deferral: tuple[str, ...]
    range_note: str
    score_note: str
    scale_note: str
    sources: tuple[CitedSource, ...]
    title: str
    draft_line: str | None
    overrides: tuple[str, ...]

    @property
    def has_technique(self) -> bool:
        """Whether enough is recorded for a technique to be written."""
        return self.assessment.tier.on_record is not None


@dataclass(frozen=True, kw_only=True)
class Plan(EyePlan):
    """An eye's plan allocated: who supervises and from where, every step in somebody's hands.

    `approval` is given once a consultant has approved; what is planned does not rest on it.
    """

    supervision: PlannedSupervision
    approval: Approval | None = None

    @property
    def hands(self) -> dict[str, Hands]:
        """In whose hands each step is, by its id, in the order of the operation."""
        return {step.id: step.who for step in self.steps}

    @property
    def trainee_steps(self) -> tuple[str, ...]:
        """The trainee's steps by id."""
        return tuple(step.id for step in self.steps if step.who == "trainee")
