"""What the wall card says of a plan, at each degree of fullness, and how high that stands in type of a given size."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from planner.documents.plan.step import StepView
from planner.documents.plan.view import PlanView
from planner.documents.printing.font_metrics import MM_A_POINT, count_lines
from planner.plan.plan import Plan
from planner.wording.words import as_sentence

# What may print of a step, by importance: its first pause, how it is done, its further pauses, what is done at each;
# and whether of a step that something in this eye makes harder.
IMPORTANCE = (
    ("pause", True), ("way", True), ("pause", False), ("more", True), ("way", False), ("more", False), ("then", True),
    ("then", False),
)  # fmt: skip
Said = frozenset[tuple[str, str]]

# What card.css gives, in mm: a column, the bar beside a run of steps with its gap, and a pause's bar with its own.
COLUMN, RUN_BAR, PAUSE_BAR = 138.0, 4.7, 3.2
# The gap after a step, and what a run of steps has above and below it.
STEP_GAP, RUN_EXTRA = 0.7, 2.0
# A step's number takes so many type sizes, a line so many.
NUMBER_EM, LINE_EM = 1.35, 1.06


@dataclass(frozen=True)
class CardStep:
    """A step on the card; `way` how it is done, `prepared` whether for the worse of what is still possible."""

    s: StepView
    way: str
    prepared: bool
    pauses: tuple[tuple[str, str], ...]

    @property
    def by_supervisor(self) -> bool:
        return self.s.step.who == "supervisor"

    def height_mm(self, points: float, first: bool) -> float:
        """What the step takes of a column at a type size, its gap to the next counted in; who does it stands at the
        end of the first line of the first step of a run."""
        width = COLUMN - RUN_BAR - NUMBER_EM * points * MM_A_POINT
        who = f"WW{self.s.who}" if first else ""
        heading = [(who, True), (self.s.step.label, True), (self.way + "*" * self.prepared, False)]
        lines = count_lines(heading, points, width)
        lines += sum(
            count_lines([(what, True), (then, False)], points, width - PAUSE_BAR) for what, then in self.pauses
        )
        return lines * line_mm(points) + STEP_GAP


@dataclass(frozen=True)
class Run:
    """Steps in a row that the same person does."""

    by_supervisor: bool
    steps: tuple[CardStep, ...]

    @property
    def who(self) -> str:
        return self.steps[0].s.who

    def height_mm(self, points: float) -> float:
        """What the run takes of a column at a type size."""
        return RUN_EXTRA + sum(step.height_mm(points, at == 0) for at, step in enumerate(self.steps))


@dataclass(frozen=True)
class Card:
    """`drill` is the likeliest in this eye, else that of every eye, with what to stop first; `ready_for` says which."""

    steps: tuple[CardStep, ...]
    ready_for: str
    drill: str
    stop_first: str
    take_over: str
    settle: str
    settle_rest: str
    not_written: str
    cut_short: bool

    @property
    def prepared(self) -> bool:
        """Whether any step is prepared one way while another is still possible."""
        return any(step.prepared for step in self.steps)

    def columns(self, points: float) -> tuple[tuple[Run, ...], tuple[Run, ...]]:
        """The steps in two columns of most equal height at a type size."""
        splits = ((runs(self.steps[:at]), runs(self.steps[at:])) for at in range(1, len(self.steps)))
        return min(splits, key=lambda both: max(column_mm(held, points) for held in both))


def runs(steps: tuple[CardStep, ...]) -> tuple[Run, ...]:
    """The steps of a column, gathered by who does them."""
    return tuple(Run(who, tuple(held)) for who, held in groupby(steps, key=lambda step: step.by_supervisor))


def column_mm(held: tuple[Run, ...], points: float) -> float:
    """How high a column stands at a type size."""
    return sum(run.height_mm(points) for run in held)


def line_mm(points: float) -> float:
    """A line's height at a type size."""
    return points * MM_A_POINT * LINE_EM


def sayable(plan: Plan, shown: PlanView) -> list[tuple[str, str]]:
    """All that may print of the steps, each as kind and step, the most important first; of a kind, that of the step
    first which most makes harder."""
    steps = sorted(shown.steps, key=lambda step: -len(step.step.harder_because))
    has = {
        "way": lambda step: bool(_ways(plan, step)),
        "pause": lambda step: bool(step.pause),
        "more": lambda step: len(step.pause) > 1,
        "then": lambda step: bool(step.pause),
    }
    return [
        (kind, step.step.id)
        for kind, harder in IMPORTANCE
        for step in steps
        if step.ordinary is not harder and has[kind](step)
    ]


def card_view(plan: Plan, shown: PlanView, said: Said) -> Card:
    """The card of a plan and its view that says so much of its steps."""
    reasons = [as_sentence(reason.because) for reason in shown.to_settle]
    steps = tuple(_step(step, plan, said) for step in shown.steps)
    more = len(reasons) - 1
    # Where no trainee operates there is nothing to take over.
    take_over = "" if all(step.by_supervisor for step in steps) else plan.supervision.take_over_words
    return Card(
        steps, *_drill(shown), take_over, "".join(reasons[:1]), f"and {more} more, see the plan" if more > 0 else "",
        shown.not_written, any(len(step.pauses) < len(step.s.pause) for step in steps),
    )  # fmt: skip


def _step(shown: StepView, plan: Plan, said: Said) -> CardStep:
    says = {kind for kind, step in said if step == shown.step.id}
    pauses = shown.pause if "more" in says else shown.pause[:1] if "pause" in says else ()
    way = _ways(plan, shown) if "way" in says else ""
    then = tuple((what, words if "then" in says else "") for what, words in pauses)
    return CardStep(shown, way, bool(way and shown.provisional), then)


def _ways(plan: Plan, shown: StepView) -> str:
    """How the step is done: its options that do something, or of those that do nothing the first."""
    chosen = [choice for choice in plan.choices.values() if plan.has_technique and choice.step == shown.step.id]
    doing = [choice.label for choice in chosen if not choice.way.idle] or [choice.label for choice in chosen[:1]]
    return "; ".join(doing)


def _drill(shown: PlanView) -> tuple[str, str, str]:
    """Whether the first drill is this eye's or every eye's, its label, and what to stop first."""
    if likely := [drill for drill in shown.drills if drill.likely]:
        return "Be ready for", likely[0].label, likely[0].stop_first
    if shown.drills:
        return "In every eye be ready for", shown.drills[0].label, shown.drills[0].stop_first
    return "The drills are on the plan.", "", ""
