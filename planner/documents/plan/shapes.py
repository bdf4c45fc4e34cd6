"""The shapes of a plan in its printed form: plain texts, in the order they are read."""

from __future__ import annotations

from dataclasses import dataclass

from planner.assess.assessment import FactorState
from planner.documents.eye.drawing import EyeView
from planner.documents.plan.risk import RiskView
from planner.plan.plan import CitedSource, KitItem, Plan, PlannedCaution, PlannedDrill, PlannedStep


@dataclass(frozen=True)
class TierView:
    """`number` is the tier in force: the approved one, once a consultant has approved. `approved` says so in words
    where the rulebook's differs. `readings` names both readings where they differ.
    """

    number: str
    by_rulebook: str
    approved: str
    label: str
    readings: str
    decided_by: tuple[str, ...]
    points: str


@dataclass(frozen=True)
class SettleView:
    """What is to settle first, and who or what settles it."""

    because: str
    settled_by: str


@dataclass(frozen=True)
class ReadinessView:
    """`headline` is what to do before anything else; `reasons` who can settle what, holding ones first."""

    is_ready: bool
    headline: str
    reasons: tuple[SettleView, ...]


@dataclass(frozen=True)
class ScoreView:
    """`short` names the first author alone, for the first side."""

    authors: str
    short: str
    source: str
    outcome: str
    points: str
    groups: tuple[str, ...]


@dataclass(frozen=True)
class LookView:
    """A sitting at which missing findings are recorded: by whom, how long it takes, and which; `first` names a few."""

    label: str
    who: str
    takes: str
    findings: str
    first: str


@dataclass(frozen=True)
class StepView:
    """A step as printed; `provisional` says what is prepared for the worse where a choice is still open.

    `if_found` is what is looked for before which act, and what is done instead; `also_if_found` what only several
    findings together would bring, and lines that would be added. A pause is what to see, and what then. An `ordinary`
    step is one that nothing in this eye makes harder or changes: it is set more closely, so that the others stand out.
    """

    step: PlannedStep
    who: str
    provisional: tuple[str, ...]
    do: tuple[str, ...]
    if_found: tuple[tuple[str, str], ...]
    also_if_found: tuple[str, ...]
    pause: tuple[tuple[str, str], ...]
    ordinary: bool


@dataclass(frozen=True)
class ChoiceView:
    label: str
    why: str
    basis: str
    alternatives: str


@dataclass(frozen=True)
class DrillView:
    drill: PlannedDrill
    kit: str
    basis: str


@dataclass(frozen=True)
class DrugView:
    label: str
    how: str
    dose: str
    state: str
    withheld: bool
    standing: str
    contraindications: str
    check: str
    basis: str


@dataclass(frozen=True)
class RuleView:
    force: str
    text: str
    basis: str


@dataclass(frozen=True)
class CautionView:
    caution: PlannedCaution
    basis: str


@dataclass(frozen=True)
class LensView:
    power: str
    backup: str
    material: str
    read_from: str
    sulcus: tuple[tuple[str, str, str], ...]
    captured_basis: str
    note_basis: str


@dataclass(frozen=True)
class SupervisionView:
    mode: str
    target: str
    trainee_steps: str


@dataclass(frozen=True)
class ApprovalView:
    """What a consultant approved; every text empty where that is still to be written by hand."""

    by: str = ""
    at: str = ""
    tier: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class PlanView:
    """What every format prints: the plan, and what is put into other words for print. A format escapes texts itself.

    `not_written` says that too little is recorded for a technique; then the steps tell only whose they are. `unknown`
    is what is not recorded and can still be asked or looked for at the table, a line for each sitting.
    """

    plan: Plan
    case: str
    eye: str
    side: str
    unit: str
    date: str
    draft_line: str
    rulebook: str
    standing: str
    tier: TierView
    readiness: ReadinessView
    supervision: SupervisionView
    factors: tuple[FactorState, ...]
    possible: str
    risk: RiskView
    scores: tuple[ScoreView, ...]
    looks: tuple[LookView, ...]
    settles_together: str
    queries: tuple[str, ...]
    drawing: EyeView
    not_written: str
    steps: tuple[StepView, ...]
    choices: tuple[ChoiceView, ...]
    rules: tuple[RuleView, ...]
    drills: tuple[DrillView, ...]
    may_be_drills: tuple[PlannedDrill, ...]
    other_drills: tuple[PlannedDrill, ...]
    kit: tuple[tuple[str, tuple[KitItem, ...]], ...]
    drugs: tuple[DrugView, ...]
    lens: LensView
    cautions: tuple[CautionView, ...]
    unknown: tuple[tuple[str, str], ...]
    recheck: tuple[tuple[str, str], ...]
    approval: ApprovalView
    sources: tuple[CitedSource, ...]
