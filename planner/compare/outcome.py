"""What a plan comes to, in pieces that can be held side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args

from planner.documents.figures import whole_range
from planner.plan.plan import Plan, PlannedChoice
from planner.wording.tier import tier_possible

What = Literal[
    "allowed", "tier", "points", "supervision", "readiness", "choice", "who", "do", "rule", "caution", "drill", "drug"
]
Words = str | tuple[str, ...]  # of a step's `do` the lines, of anything else one phrase
ORDER: tuple[What, ...] = get_args(What)  # the weightiest first
_ABSENT = {"drug": "not in the plan", "drill": "not likely"}


@dataclass(frozen=True)
class PlanItem:
    """One thing that a case gets: what it is, of which entry, what tells it apart from another, and its words."""

    what: What
    name: str
    key: Any
    words: Words

    @property
    def id(self) -> tuple[What, str]:
        return self.what, self.name


def parts(plan: Plan) -> Iterator[PlanItem]:
    """Everything of a plan that is compared. Labels, reasons and citations are not; a step's `do` is."""
    assessment, supervision = plan.assessment, plan.supervision
    tier, readiness = assessment.tier, assessment.readiness
    possible = tier_possible(tier.least, tier.most)
    yield PlanItem("tier", "", (tier.least, tier.most), f"{tier.working}{possible}")
    on_record = "too little recorded" if tier.on_record is None else f"{tier.on_record}"
    yield PlanItem("tier", "on record", tier.on_record, on_record)
    yield PlanItem("points", "", assessment.points, whole_range(assessment.points))
    reasons = "; ".join(reason.because for reason in readiness.because)
    settled = tuple((reason.id, reason.certain) for reason in readiness.because)
    yield PlanItem("readiness", "", (readiness.state, settled), readiness.state + (f": {reasons}" if reasons else ""))
    by = supervision.mode, supervision.by
    yield PlanItem("supervision", "", by, f"{', '.join(by)} ({supervision.stage})")
    for choice in plan.choices.values():
        yield _choice(choice)
    for step in plan.steps:
        yield PlanItem("who", step.id, step.who, step.who)
        yield PlanItem("do", step.id, step.do, step.do)
    for rule in plan.rules:
        yield PlanItem("rule", rule.id, rule.certain, _certainty(rule.certain))
    for caution in plan.cautions:
        yield PlanItem("caution", caution.id, caution.certain, _certainty(caution.certain))
    for drill in plan.drills:
        if drill.likely or drill.may_be_likely:
            yield PlanItem("drill", drill.id, drill.likely, "likely" if drill.likely else "may be likely")
    for drug in plan.drugs:
        yield PlanItem("drug", drug.id, drug.state, drug.state.replace("-", " "))


def changed(before: Plan, after: Plan) -> Iterator[tuple[What, str, Words, Words]]:
    """What differs: what it is, of which entry, and its words in either plan; of a step's `do` only the lines moved."""
    old, new = ({part.id: part for part in parts(plan)} for plan in (before, after))
    for what, name in sorted(dict.fromkeys((*old, *new)), key=lambda id_: ORDER.index(id_[0])):
        one, other = old.get((what, name)), new.get((what, name))
        if one is not None and other is not None:
            if one.key == other.key:
                continue
            if what == "do":
                yield what, name, _without(one.key, other.key), _without(other.key, one.key)
                continue
        absent = _ABSENT.get(what, "does not hold")
        yield what, name, one.words if one else absent, other.words if other else absent


def _choice(choice: PlannedChoice) -> PlanItem:
    others = [other for other in choice.rejected if other.possible]
    possible = f" (still possible: {', '.join(other.label for other in others)})" if others else ""
    key = choice.option, frozenset(other.option for other in others)
    return PlanItem("choice", choice.choice, key, choice.label + possible)


def _certainty(certain: bool) -> str:
    return "holds" if certain else "may hold"


def _without(these: tuple[str, ...], those: tuple[str, ...]) -> tuple[str, ...]:
    """The lines that stand only here; all of them when only their order differs."""
    return tuple(line for line in these if line not in those) if set(these) != set(those) else these
