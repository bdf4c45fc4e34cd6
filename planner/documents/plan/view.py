"""What every format prints of a plan: the plan, and what of the whole of it is put into other words, decided once."""

from __future__ import annotations

from collections.abc import Iterator

from planner.assess.assessment import Assessment
from planner.claims import Basis
from planner.documents.eye.drawing import eye_view
from planner.documents.figures import day, whole_range
from planner.documents.plan.risk import RiskView
from planner.documents.plan.step import step_view
from planner.documents.plan.words import joined, spoken
from planner.plan.plan import CitedSource, KitItem, Plan, PlannedDrill
from planner.wording.people import mode_words
from planner.wording.tier import readings
from planner.wording.words import as_sentence, side_of

# What must not be given is read before what may.
DRUGS_IN_ORDER = ("withheld", "not-until-checked", "as-prescribed")


class PlanView:
    """A plan as every format prints it; a format escapes texts itself. `words.py` has the words of single items.

    `tier` is the tier in force: the approved one, once a consultant has approved; `tier_approved` says so in words
    where the rulebook's differs. `readings` names both readings where they differ. `supervised` says that the
    consultant operates, or how close the supervisor is. `headline` is what to do before anything else, `to_settle` who
    can settle what, holding ones first. `choices` are in the order of the steps, none
    without a technique; `not_written` says that too little is recorded for one. `unknown` is what is not recorded and
    can still be asked or looked for at the table, a line for each sitting.
    """

    def __init__(self, plan: Plan) -> None:
        assessment, given, planned = plan.assessment, plan.approval, plan.supervision
        case, book, tier = assessment.case, assessment.rulebook, assessment.tier
        self.plan, self.assessment = plan, assessment
        self.case, self.eye, self.side = case.reference, case.eye, side_of(case.eye)
        self.unit = plan.unit or "not recorded"
        self.date = day(assessment.on or case.recorded_on)
        self.draft_line = plan.draft_line or ""
        self.rulebook = f"{book.id} {book.version} · {book.sha256[:8]} · {book.status}"
        self.standing = plan.draft_line or next(iter(plan.deferral), "")
        self.tier = given.tier_approved if given else tier.working
        differs = self.tier != tier.working
        self.tier_approved = f"Approved so; by the rulebook tier {tier.working}" if differs else ""
        self.tier_label = given.tier_label if given and differs else tier.label
        self.readings = readings(tier.on_record, tier.working, tier.proved)
        self.decided_by = tuple(as_sentence(reason.words) for reason in tier.decided_by)
        self.points = whole_range(assessment.points)
        self.is_ready = assessment.readiness.state == "ready"
        self.headline = "Ready" if self.is_ready else "Settle first"
        self.to_settle = tuple(sorted(assessment.readiness.because, key=lambda reason: not reason.certain))
        mode = mode_words(planned.mode)
        self.mode = as_sentence(mode)
        self.supervised = self.mode if planned.mode.startswith("consultant") else f"Supervisor {mode}"
        self.target = f"Taught today: {planned.target_short}." if planned.target_short else ""
        self.trainee_steps = _trainee_steps(plan)
        holding = (state for state in assessment.factors if state.state == "holds")
        self.factors = tuple(sorted(holding, key=lambda state: (-(state.floor or 0), -state.points)))
        self.possible = joined(state.label for state in assessment.factors if state.state == "unknown")
        self.risk = RiskView(assessment.probability, planned.stage)
        self.looks, self.settles_together = assessment.looks, _settles(assessment)
        self.queries = (*assessment.queries, *(note.words for note in assessment.notes))
        self.drawing = eye_view(plan)
        lines = () if plan.has_technique else (line for step in plan.steps for line in step.do)
        self.not_written = next(iter(lines), "")
        self.steps = tuple(step_view(step, plan) for step in plan.steps)
        order = {step.id: step.number for step in plan.steps}
        choices = plan.choices.values() if plan.has_technique else ()
        self.choices = tuple(sorted(choices, key=lambda choice: order.get(choice.step, 0)))
        self.drills = tuple(drill for drill in plan.drills if drill.in_full)
        self.may_be_drills = tuple(drill for drill in plan.drills if drill.may_be_likely and not drill.in_full)
        self.other_drills = tuple(drill for drill in plan.drills if not (drill.in_full or drill.may_be_likely))
        self.drugs = tuple(sorted(plan.drugs, key=lambda drug: DRUGS_IN_ORDER.index(drug.state)))
        # Those that only may hold print where there is too little on record to say more.
        self.cautions = tuple(caution for caution in plan.cautions if caution.certain or not plan.has_technique)
        self.unknown, self.recheck = plan.recheck_unknown, plan.recheck
        self._numbers = {source.id: f"[{source.number}]" for source in plan.sources}

    @property
    def kit(self) -> list[tuple[str, list[KitItem]]]:
        """Kit under a heading by how badly it is needed; empty groups are left out."""
        needs = {
            "essential": "Essential in this case",
            "always": "Every case",
            "preferred": "If the unit has it",
            "if-found": "Ready in case it is found",
        }
        groups = [(heading, [item for item in self.plan.kit if item.need == need]) for need, heading in needs.items()]
        return [(heading, wanted) for heading, wanted in groups if wanted]

    def kit_of(self, drill: PlannedDrill) -> str:
        labels = {item.id: item.label for item in self.plan.kit}
        return "; ".join(labels.get(item, spoken(item)) for item in drill.kit)

    def cite(self, basis: Basis) -> str:
        """`[3] where (seen)` for a basis in a source that the plan lists, everything else in words."""
        number = self.number(basis.source)
        return f"{number} {basis.place}" if number else basis.words

    def number(self, source: str | None) -> str:
        """`[3]` for a source key, nothing when the plan does not list it."""
        return self._numbers.get(source or "", "")

    @property
    def sources(self) -> tuple[CitedSource, ...]:
        """What is cited, by number: what prints nowhere is not listed."""
        cited = {score.source for score in self.assessment.published_scores} | {each.source for each in self._bases()}
        return tuple(source for source in self.plan.sources if source.id in cited)

    def _bases(self) -> Iterator[Basis]:
        """The bases that print, and what stands behind the factors found, the model blind to them or not."""
        for cited in (self.plan.rules, self.drills, self.drugs, self.cautions, self.plan.lens.sulcus, self.factors):
            yield from (each.basis for each in cited)
        yield from (choice.way.basis for choice in self.choices)
        yield from (self.plan.lens.captured_basis, self.plan.lens.note_basis)
        not_counted = self.assessment.probability.not_counted
        yield from (rate.basis for item in not_counted if item.certain for rate in item.rates)


def _trainee_steps(plan: Plan) -> str:
    taken = [step.short for step in plan.steps if step.who == "trainee"]
    return "every step" if len(taken) == len(plan.steps) else joined(taken) or "none"


def _settles(assessment: Assessment) -> str:
    """What settles the tier: the smallest set of findings where it is small, else the sittings that do."""
    labels = {missing.finding: missing.label for missing in assessment.missing}
    if assessment.smallest_set:
        return ", ".join(labels.get(name, spoken(name)) for name in assessment.smallest_set)
    settling = [look.label for look in assessment.looks if look.settles]
    return joined(settling) if len(settling) > 1 else ""
