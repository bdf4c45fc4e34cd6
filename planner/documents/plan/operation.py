"""The operation on one side or more: as much of each step as they hold; the rest prints at the end."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import accumulate
from math import ceil
from typing import Literal

from planner.documents.plan.step import StepView
from planner.documents.plan.view import PlanView

# Characters that a line of each column holds, and lines on a side; a first guess, which setting the side then checks.
DO, PAUSE, SMALL = 62, 44, 50
LINES = 54
# How far over the guess a detail may be and still be worth setting.
WORTH_SETTING = 1.15
# The sides an operation may take before what it shows is cut to the barest.
MOST_SIDES = 3

Steps = Literal["all", "harder", "none"]


@dataclass(frozen=True)
class StepDetail:
    """How much of each step its side shows, and for which steps each part prints. What to do is cut for ordinary steps
    alone: `ordinary_do` counts printed lines, 0 leaves the headline."""

    ordinary_do: int = 99
    if_found: bool = True
    watch: Steps = "all"
    hand_over: Steps = "all"
    then: Steps = "all"  # what to do at a pause, after what to see
    roomy: bool = False


def _details() -> Iterator[StepDetail]:
    """From the fullest to the barest: first what is the same in every eye, last what this eye makes harder."""
    everything = StepDetail()
    yield replace(everything, roomy=True)
    yield everything
    yield (cut := replace(everything, watch="harder"))
    yield replace(cut := replace(cut, hand_over="harder"), roomy=True)
    yield cut
    yield (cut := replace(cut, ordinary_do=3))
    yield (cut := replace(cut, ordinary_do=2))
    yield (cut := replace(cut, hand_over="none"))
    yield (cut := replace(cut, ordinary_do=1))
    yield (cut := replace(cut, ordinary_do=0))
    yield (cut := replace(cut, watch="none"))
    yield (cut := replace(cut, then="harder"))
    yield replace(cut, if_found=False)


DETAILS = tuple(_details())


@dataclass(frozen=True)
class StepParts:
    """What is told of a step, or a part of it; `later` is what only several findings together, or a line more, would
    bring, told at the end."""

    do: tuple[str, ...]
    if_found: tuple[tuple[str, str], ...]
    later: tuple[str, ...]
    watch: tuple[str, ...]
    hand_over: tuple[str, ...]
    pause: tuple[tuple[str, str], ...]

    def __bool__(self) -> bool:
        return any((self.do, self.if_found, self.later, self.watch, self.hand_over, self.pause))


@dataclass(frozen=True)
class ShownStep:
    """A step: what its side tells of it, and the rest, which prints at the end."""

    s: StepView
    shown: StepParts
    rest: StepParts

    @property
    def tasks_below(self) -> bool:
        """Whether what to do prints below the step's name and its pauses beside that, not beside the name."""
        return not self.s.ordinary and bool(self.s.provisional or self.shown.do or self.shown.if_found)


@dataclass(frozen=True)
class Operation:
    steps: tuple[ShownStep, ...]
    roomy: bool

    @property
    def shortened(self) -> tuple[ShownStep, ...]:
        """The steps of which something prints only at the end."""
        return tuple(each for each in self.steps if each.rest)


def operation(p: PlanView, detail: StepDetail = DETAILS[1]) -> Operation:
    """The steps as that detail shows them; the default leaves nothing out."""
    return Operation(tuple(_shown(step, detail) for step in p.steps), detail.roomy)


def operation_that_fits(p: PlanView, sides: Callable[[Operation], int]) -> Operation:
    """The fullest operation on one side, else on more, else the barest; `sides` says how many one takes when set."""
    # Two details may show the same, and setting a side is the slow part: what is far too long is not tried.
    # What stands above a step as a question stays with it, on one side more if it must.
    asked = list(dict.fromkeys(operation(p, detail) for detail in DETAILS if detail.if_found))
    for most in range(1, MOST_SIDES + 1):
        likely = (each for each in asked if _lines(each) <= most * LINES * WORTH_SETTING)
        fitting = next((each for each in likely if sides(each) <= most), None)
        if fitting:
            return fitting
    return operation(p, DETAILS[-1])


def _shown(step: StepView, detail: StepDetail) -> ShownStep:
    def printed(which: Steps) -> bool:
        return which == "all" or (which == "harder" and not step.ordinary)

    do = _within(step.do, detail.ordinary_do) if step.ordinary else step.do
    hand_over = step.step.hand_over_if if step.step.who == "trainee" else ()
    then = printed(detail.then)
    shown = StepParts(
        do,
        step.if_found if detail.if_found else (),
        (),
        step.step.watch if printed(detail.watch) else (),
        hand_over if printed(detail.hand_over) else (),
        step.pause if then else tuple((what, "") for what, _ in step.pause),
    )
    rest = StepParts(
        step.do[len(do) :],
        () if detail.if_found else step.if_found,
        step.also_if_found,
        () if printed(detail.watch) else step.step.watch,
        () if printed(detail.hand_over) else hand_over,
        () if then else tuple(pair for pair in step.pause if pair[1]),
    )
    return ShownStep(step, shown, rest)


def _within(lines: tuple[str, ...], room: int) -> tuple[str, ...]:
    """As many lines to do, from the first, as set in one paragraph take no more than so many printed ones."""
    ends = list(accumulate(len(line) + 1 for line in lines))
    return lines[: bisect_right(ends, room * DO)]


def _lines(shown: Operation) -> float:
    """About how many lines the table takes."""
    larger = 12 / 11 if shown.roomy else 1.0
    return sum(_height(each) * larger for each in shown.steps)


def _height(each: ShownStep) -> float:
    shown = each.shown
    do = ceil(sum(map(len, shown.do)) / DO) if each.s.ordinary else sum(ceil(len(line) / DO) for line in shown.do)
    left = do + len(each.s.provisional) + ceil(sum(len(before) + len(then) for before, then in shown.if_found) / DO)
    pauses = sum(ceil((len(what) + len(then)) / PAUSE) for what, then in shown.pause)
    small = ceil(sum(map(len, shown.watch)) / SMALL) + ceil(sum(map(len, shown.hand_over)) / SMALL)
    right = pauses + 0.85 * small
    named = ceil((len(each.s.step.label) + 10 + len(each.s.step.headline)) / DO)
    return 0.3 + (1 + max(left, right) if each.tasks_below else max(named + left, right))
