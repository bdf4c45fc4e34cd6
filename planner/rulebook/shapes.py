"""The shapes of the rulebook's entries. One class a kind of entry; unknown keys are refused.

Points, tiers and stages are whole numbers; probabilities are fractions of 1; units otherwise stand in the
finding's name. Every clinical number stands beside a `Basis`.
"""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from planner.case import Stage
from planner.claims import Basis, Day, Entry, Names, Number, When, Whole

Slug = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=70)]
Tier = Annotated[Whole, Field(ge=1, le=4)]
Mode = Literal["on-site", "in-theatre", "scrubbed", "consultant-operates", "consultant-only"]
By = Literal["trainer", "consultant"]
StepId = Literal[
    "anaesthesia",
    "antisepsis-and-drape",
    "incisions",
    "dye",
    "ovd",
    "pupil",
    "capsule-opening",
    "hydro",
    "nucleus",
    "fragment-removal",
    "cortex",
    "lens",
    "ovd-removal",
    "wounds-and-pressure",
    "after",
]
MODES: tuple[Mode, ...] = get_args(Mode)
STEP_IDS: tuple[StepId, ...] = get_args(StepId)
TIERS = (1, 2, 3, 4)


class Source(Entry):
    id: Slug
    citation: str
    read: str = ""  # how much of it was read
    locator: str = ""
    known: Literal["seen", "from-memory"]

    @property
    def words(self) -> str:
        return f"{self.citation} {self.locator}".strip()


class Review(Entry):
    status: Literal["draft", "in-force", "retired"]
    due: Day


# -- factors ------------------------------------------------------------------------------------------------------


class PointsBasis(Basis):
    """The basis of points; where an adjusted odds ratio is published the points must be round(2 log2(odds ratio))."""

    odds_ratio: Number | None = None
    interval: tuple[Number, Number] | None = None


class Floor(Entry):
    """The tier a factor demands whatever the points are."""

    tier: Tier
    basis: Basis
    because: str | None = None


class Correctable(Entry):
    """What can be put right before surgery: the finding, the value it is brought to, and how."""

    finding: Annotated[str, Names("finding")]
    to: str
    how: str
    basis: Basis


class PublishedRate(Entry):
    """A rate or ratio printed beside a factor, in words, e.g. 'capsule rupture 9 of 58 eyes (15.5 %)'."""

    text: str
    basis: Basis


class Factor(Entry):
    """A risk factor. `because` and `harm` may hold `{finding_id}`, filled with the value as recorded."""

    id: Slug
    label: str
    when: When
    points: Annotated[Whole, Field(ge=0, le=10)] = 0
    points_basis: PointsBasis | None = None
    counts_once_with: Slug | None = None
    floor: Floor | None = None
    harder_steps: dict[StepId, Annotated[Whole, Field(ge=1, le=3)]] = {}
    harder_basis: Basis | None = None
    because: str
    harm: str
    published_rates: list[PublishedRate] = []
    correctable: Correctable | None = None
    misleads_when: list[str] = Field(min_length=1)
    limits_basis: Basis
    review: Review

    @model_validator(mode="after")
    def _claims_have_a_basis(self) -> Factor:
        if self.points and self.points_basis is None:
            raise ValueError(f"{self.id}: points without points_basis; a claim without its basis does not load")
        if self.harder_steps and self.harder_basis is None:
            raise ValueError(f"{self.id}: harder_steps without harder_basis; a claim without its basis does not load")
        return self


# -- models -------------------------------------------------------------------------------------------------------


class Level(Entry):
    """One level of a term: the odds ratio that applies when its condition holds (the heaviest that holds counts)."""

    label: str
    when: When
    odds_ratio: Number
    share: Number | None = None  # of the labelled assumed case mix used for re-centring
    basis: Basis


class Term(Entry):
    id: Slug
    label: str
    levels: list[Level] = Field(min_length=1)
    counts_once_with: Slug | None = None


class Operator(Entry):
    """An operator grade in the odds model: the published grade that stands for it is unit policy."""

    id: Literal["early", "middle", "late", "independent", "fellow", "consultant"]
    published_grade: str
    odds_ratio: Number
    share: Number | None = None
    basis: Basis
    stands_for_basis: Basis


class Era(Entry):
    """A published rate of the model's outcome over all operations of some years, on which a unit may re-centre."""

    id: Slug
    label: str
    rate: Number
    basis: Basis


class Baseline(Entry):
    """The probability at all reference levels, consultant operating, and the rate over all cases in the source."""

    probability: Number
    overall_rate: Number
    basis: Basis


class BlindTo(Entry):
    factor: Annotated[Slug, Names("factor")]
    basis: Basis


class OddsModel(Entry):
    """odds = baseline odds x product of odds ratios; probability = odds / (1 + odds)."""

    kind: Literal["odds"]
    id: Slug
    title: str
    authors: str
    outcome: str
    population: str
    source: Annotated[Slug, Names("source")]
    baseline: Baseline
    terms: list[Term]
    operators: list[Operator]
    blind_to: list[BlindTo]
    mix_basis: Basis
    eras: list[Era] = []
    unit_spread: Number
    unit_spread_basis: Basis
    limits: list[str] = []

    def era(self, name: str | None) -> Era | None:
        return next((era for era in self.eras if era.id == name), None)


class ScoreItem(Entry):
    id: Slug
    label: str
    when: When
    points: Whole
    basis: Basis


class ScoreGroup(Entry):
    """A band of a published score with its printed counts; rates are events / eyes."""

    label: str
    at_least: Whole
    at_most: Whole | None = None
    eyes: Whole | None = None
    events: dict[str, Whole] = {}
    meaning: str | None = None
    basis: Basis


class PointScore(Entry):
    kind: Literal["points"]
    id: Slug
    title: str
    authors: str
    outcome: str
    source: Annotated[Slug, Names("source")]
    items: list[ScoreItem]
    groups: list[ScoreGroup]
    limits: list[str] = []

    @property
    def first_author(self) -> str:
        return self.authors.partition(",")[0]


Model = Annotated[OddsModel | PointScore, Field(discriminator="kind")]


# -- tiers, stages, supervision -----------------------------------------------------------------------------------


class TierMeaning(Entry):
    tier: Tier
    label: str
    meaning: str


class PointsBand(Entry):
    tier: Tier
    at_least: Whole
    basis: Basis


class ProbabilityBand(Entry):
    """The tier demanded when the consultant's probability at the published baseline is at least this."""

    tier: Tier
    at_least: Number
    basis: Basis


class Tiers(Entry):
    tiers: list[TierMeaning]
    points_bands: list[PointsBand]
    probability_bands: list[ProbabilityBand]
    scale_note: str


class StageShape(Entry):
    """A trainee stage: thresholds of whole operations done, and the hardest step taken.

    When the consultant operates the stage takes its `named_steps`, in the order in which they are taught, as far as
    this eye makes them harder by `named_harder_up_to` at most. `targets` are the steps it is taught next, first first.
    """

    id: Stage
    label: str
    whole_operations: tuple[Whole, Whole | None]
    takes_up_to: Annotated[Whole, Field(ge=0, le=9)]
    named_steps: list[StepId]
    named_harder_up_to: Annotated[Whole, Field(ge=0, le=9)]
    targets: list[StepId] = []
    basis: Basis

    @property
    def short(self) -> str:
        """The stage's name alone: a label may go on, after a comma, with what it spans."""
        return self.label.partition(",")[0]


class Break(Entry):
    """So many weeks away from operating step a trainee down by so many stages until re-assessed."""

    weeks_at_least: Whole
    stages_down: Whole
    basis: Basis


class Stages(Entry):
    stages: list[StageShape]
    breaks: list[Break] = []
    default_stage: Stage
    default_note: str
    assumed: str

    def shape(self, stage: Stage) -> StageShape:
        return next(shape for shape in self.stages if shape.id == stage)


class Supervised(Entry):
    mode: Mode
    by: By

    def is_looser_than(self, other: Supervised) -> bool:
        """Whether it is from further away, or by a trainer in place of a consultant."""
        further = MODES.index(self.mode) < MODES.index(other.mode)
        return further or (self.by == "trainer" and other.by == "consultant")

    def brought_to(self, other: Supervised) -> Supervised:
        """The closer mode of the two, by a consultant where either is."""
        mode = max(self.mode, other.mode, key=MODES.index)
        return Supervised(mode=mode, by="consultant" if "consultant" in (self.by, other.by) else "trainer")


class Closer(Entry):
    """Brings the supervisor closer when the operator's own probability is at least this; never sends them away."""

    operator_probability_at_least: Number
    at_least_mode: Mode
    by: By
    basis: Basis

    @property
    def supervised(self) -> Supervised:
        return Supervised(mode=self.at_least_mode, by=self.by)


class Override(Entry):
    id: Slug
    when: When
    mode: Mode
    by: By
    because: str
    basis: Basis

    @property
    def supervised(self) -> Supervised:
        return Supervised(mode=self.mode, by=self.by)


class SupervisionRules(Entry):
    modes: dict[Mode, str]
    by: dict[By, str]
    matrix: dict[Tier, dict[Stage, Supervised]]
    basis: Basis
    closer: list[Closer]
    overrides: list[Override]
    hand_back: list[str]
    take_over_words: str


class RulebookHeader(Entry):
    id: Slug
    version: str
    title: str
    status: Literal["draft", "in-force", "retired"]
    effective_from: Day | None = None
    approvers: list[str] = []
    review_due: Day
    draft_line: str
