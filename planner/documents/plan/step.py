"""A step as it prints: what to do, what to look for first and what would then be done, pauses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from planner.documents.plan.words import FEW
from planner.plan.plan import Gate, Plan, PlannedStep
from planner.wording.conditions import gate_words
from planner.wording.words import as_sentence

# Characters of a line to do in the step table, and how many lines one that runs on may take.
DO_WIDTH = 60
LONGEST_RUN = 3


@dataclass(frozen=True)
class Asked:
    """What is looked for `before` an act: the findings by name, and in `whole` with what is then done. What `clears`
    would let a more cautious way be left."""

    before: str
    names: tuple[str, ...]
    whole: str
    clears: bool


@dataclass(frozen=True)
class StepView:
    """A step as printed; `provisional` says what is prepared for the worse where a choice is still open.

    `asked` is what one finding alone would change; `also_if_found` what only several together would bring, and lines
    that would be added. A pause is what to see, and what then. An `ordinary` step is one that nothing in this eye makes
    harder or changes.
    """

    step: PlannedStep
    provisional: tuple[str, ...]
    do: tuple[str, ...]
    asked: tuple[Asked, ...]
    also_if_found: tuple[str, ...]
    pause: tuple[tuple[str, str], ...]
    ordinary: bool

    @property
    def who(self) -> str:
        return self.step.who.upper()

    @property
    def if_found(self) -> tuple[tuple[str, str], ...]:
        """What is looked for before which act, and what is done instead."""
        return tuple((one.before, one.whole) for one in self.asked)


def step_view(step: PlannedStep, plan: Plan) -> StepView:
    if not plan.has_technique:
        # That no technique is written is said once, above the steps.
        return StepView(step, (), (), (), (), (), True)
    chosen = [choice for choice in plan.choices.values() if choice.step == step.id]
    provisional = tuple(choice.prepared_as for choice in chosen if choice.prepared_as)
    # The line that says how a provisional choice is prepared stands by itself, above what is done.
    lines = tuple(line for line in step.do if line not in provisional)
    alone = [gate for gate in step.gates if gate.option is not None and _is_asked_alone(gate)]
    asked = tuple(_asked(alone))
    # Those of which some were only counted are told again in full, after them what would only add lines.
    counted = [gate for gate in alone if len(gate.named) > FEW + 1]
    later = (counted, [gate for gate in step.gates if gate.option is None])
    also = tuple(f"{before}: {then}" for gates in later for before, then in gates_in_words(gates))
    pause = tuple((pause.if_, pause.then) for pause in step.pause_if)
    # A step in which a drug is barred is set line by line and never cut.
    ordinary = not (step.harder_because or provisional or asked or step.barred)
    # An ordinary step is set as one paragraph, so its lines are left as they are and cut one by one.
    do = lines if ordinary else _run_on(lines)
    return StepView(step, tuple(map(as_sentence, provisional)), do, asked, also, pause, ordinary)


def _asked(gates: Sequence[Gate]) -> Iterator[Asked]:
    """Each act before which something is asked, of gates that are asked alone."""
    for before, whole in gates_in_words(gates, FEW):
        here = [gate for gate in gates if _heading(gate) == before]
        names = tuple(dict.fromkeys(name for gate in here for name in gate.named))
        yield Asked(before, names, whole, here[0].once_clear)


def _heading(gate: Gate) -> str:
    return "Once known" if gate.once_clear else gate.before or "If found"


def _is_asked_alone(gate: Gate) -> bool:
    """Whether one finding is enough for what the gate brings, or the gate says what must be ruled out first."""
    return gate.once_clear or not gate.together or len(gate.findings) == 1


def gates_in_words(gates: Sequence[Gate], most: int | None = None) -> Iterator[tuple[str, str]]:
    """Each act before which something is looked for, and what; of more findings than `most` the rest is counted."""
    by_act: dict[str, list[str]] = {}
    for gate in gates:
        more = len(gate.named) - most if most is not None else 0
        asks = (*gate.named[:most], f"{more} more") if more > 1 else gate.named
        then = gate.label if gate.option is not None else " ".join(gate.do)
        by_act.setdefault(_heading(gate), []).append(gate_words(asks, then, together=gate.together))
    return ((heading, f"{'; '.join(lines)}.") for heading, lines in by_act.items())


def _run_on(lines: Iterable[str]) -> tuple[str, ...]:
    """Lines to do, a short one run on after the one before it where that saves a printed line."""
    paragraphs: list[str] = []
    for line in lines:
        joined = f"{paragraphs[-1]} {line}" if paragraphs else line
        saves = paragraphs and _printed(joined) < _printed(paragraphs[-1]) + _printed(line)
        if saves and _printed(joined) <= LONGEST_RUN and paragraphs[-1].endswith("."):
            paragraphs[-1] = joined
        else:
            paragraphs.append(line)
    return tuple(paragraphs)


def _printed(text: str) -> int:
    return ceil(len(text) / DO_WIDTH)
