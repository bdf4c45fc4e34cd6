"""What the theatre card says of a plan, at each degree of fullness; what is left out is counted, never lost."""

from __future__ import annotations

from dataclasses import dataclass

from planner.documents.plan.step import StepView
from planner.documents.plan.view import PlanView
from planner.documents.printing.font_metrics import MM_A_POINT, count_lines
from planner.plan.plan import Plan
from planner.wording.language import say
from planner.wording.words import as_sentence


@dataclass(frozen=True)
class CardDetail:
    """How much of a step prints: its pauses at most, whether what is then done, how many of its options' labels.

    The first of each pair is for a step that something in this eye makes harder, the second for an ordinary one.
    """

    pauses: tuple[int, int]
    then: tuple[bool, bool] = (False, False)
    ways: tuple[int, int] = (9, 1)


# From the fullest to the barest: in letters of the height aimed at, then, where none of these fits, in smaller ones.
DETAILS = (
    CardDetail((9, 9), then=(True, True)),
    CardDetail((9, 9), then=(True, False)),
    CardDetail((9, 9)),
    CardDetail((9, 9), ways=(1, 1)),
    CardDetail((2, 1), ways=(1, 1)),
)
CROWDED = (
    CardDetail((9, 9), ways=(1, 1)),
    CardDetail((2, 1), ways=(1, 1)),
    CardDetail((1, 1), ways=(1, 1)),
    CardDetail((1, 1), ways=(1, 0)),
    CardDetail((1, 0), ways=(1, 0)),
    CardDetail((1, 0), ways=(0, 0)),
)

# What card.css gives: a column, a pause's bar and a mark's edges in mm, numbers in type sizes, the gap of two steps.
COLUMN, BAR, MARK = 138.0, 3.2, 2.0
NUMBER_EM = 1.35
GAP_LINES = 0.15


@dataclass(frozen=True)
class CardStep:
    """A step on the card; `prepared`: its choice is still open; `rest` (+2): how many pauses only the plan has."""

    s: StepView
    way: str
    prepared: bool
    pauses: tuple[tuple[str, str], ...]
    rest: str

    @property
    def by_supervisor(self) -> bool:
        return self.s.step.who == "supervisor"

    def lines(self, points: float) -> float:
        """Printed lines that the step takes at a type size, its gap to the next counted in."""
        pauses = [[(what, True), (then, False)] for what, then in self.pauses]
        heading = [(f"{self.s.step.label} {self.s.who}", True), (self.way, False)]
        (pauses[-1] if pauses else heading).append((self.rest, False))
        width = COLUMN - NUMBER_EM * points * MM_A_POINT
        pause_lines = sum(count_lines(pause, points, width - BAR) for pause in pauses)
        return count_lines(heading, points, width - (MARK if self.by_supervisor else 0)) + pause_lines + GAP_LINES


@dataclass(frozen=True)
class Card:
    """`drill` is the likeliest in this eye, else that of every eye, with what to stop first; `standing` says which."""

    steps: tuple[CardStep, ...]
    standing: str
    drill: str
    stop_first: str
    take_over: str
    settle: str
    settle_rest: str
    not_written: str

    @property
    def prepared(self) -> bool:
        """Whether any step is prepared one way while another is still possible."""
        return any(step.prepared for step in self.steps)

    @property
    def cut_short(self) -> bool:
        """Whether a pause was left to the plan."""
        return any(step.rest for step in self.steps)

    def columns(self, points: float) -> tuple[tuple[CardStep, ...], tuple[CardStep, ...]]:
        """The steps in two columns of most equal height at a type size."""
        heights = [step.lines(points) for step in self.steps]
        split = min(range(1, len(heights)), key=lambda at: max(sum(heights[:at]), sum(heights[at:])))
        return self.steps[:split], self.steps[split:]


def card_view(plan: Plan, shown: PlanView, detail: CardDetail) -> Card:
    """The card of a plan and its view, as full as `detail`."""
    reasons = [as_sentence(reason.because) for reason in shown.to_settle]
    steps = tuple(_step(step, plan, detail) for step in shown.steps)
    settle_rest = say("and %(count)s more on the plan", count=len(reasons) - 1) if len(reasons) > 1 else ""
    # Where no trainee operates there is nothing to take over.
    take_over = "" if all(step.by_supervisor for step in steps) else plan.supervision.take_over_words
    return Card(steps, *_drill(shown), take_over, "".join(reasons[:1]), settle_rest, shown.not_written)


def _step(shown: StepView, plan: Plan, detail: CardDetail) -> CardStep:
    which = int(shown.ordinary)
    ways = [choice.label for choice in plan.choices.values() if plan.has_technique and choice.step == shown.step.id]
    ways = ways[: detail.ways[which]]
    pauses = tuple((what, then if detail.then[which] else "") for what, then in shown.pause[: detail.pauses[which]])
    more = len(shown.pause) - len(pauses)
    return CardStep(shown, "; ".join(ways), bool(ways and shown.provisional), pauses, f"+{more}" if more else "")


def _drill(shown: PlanView) -> tuple[str, str, str]:
    """How it stands with the first drill, its label, and what to stop first."""
    if likely := [drill for drill in shown.drills if drill.likely]:
        return say("Drill likely in this eye:"), likely[0].label, likely[0].stop_first
    if shown.drills:
        return say("Drill in every eye:"), shown.drills[0].label, shown.drills[0].stop_first
    return say("No drill stands out in this eye; all are on the plan."), "", ""
