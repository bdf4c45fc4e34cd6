"""`view(plan)`: every word and number of a plan in its printed form, decided once and used by every format."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from planner.assess.assessment import Assessment, FactorState, PublishedScore
from planner.documents.citing import Citations
from planner.documents.eye.drawing import eye_view
from planner.documents.figures import change, day, dioptres, moment, whole_range
from planner.documents.plan.risk import risk_view
from planner.documents.plan.shapes import (
    ApprovalView,
    CautionView,
    ChoiceView,
    DrillView,
    DrugView,
    LensView,
    LookView,
    PlanView,
    ReadinessView,
    RuleView,
    ScoreView,
    SettleView,
    SupervisionView,
    TierView,
)
from planner.documents.plan.step import FEW, WHO, step_view
from planner.plan.plan import Approval, KitItem, Plan, PlannedCaution, PlannedDrill, PlannedDrug, PlannedRule
from planner.wording.language import say, side_of
from planner.wording.people import mode_words
from planner.wording.tier import readings
from planner.wording.words import as_sentence, lower_first, percent, with_stop

# The first rates of a published score print; the plan as data holds them all.
SCORE_RATES = 2
# So many steps in other hands than the rulebook's are named beside the approval; the step table shows all.
STEPS_NAMED = 4
# Written out, so that the catalogue's extraction finds them; called, so that they speak the language in force.
FORCES = {
    "withhold": lambda: say("Withhold"),
    "require": lambda: say("Require"),
    "order": lambda: say("Order"),
    "prefer": lambda: say("Prefer"),
    "tell": lambda: say("Tell"),
}


def view(plan: Plan) -> PlanView:
    """Put a plan into words for printing."""
    assessment = plan.assessment
    case, book = assessment.case, assessment.rulebook
    cite = Citations(plan.sources)
    labels = {missing.finding: missing.label for missing in assessment.missing}
    shown = PlanView(
        plan=plan,
        case=case.reference,
        eye=case.eye,
        side=side_of(case.eye),
        unit=plan.unit or say("not recorded"),
        date=day(assessment.on or case.recorded_on),
        draft_line=plan.draft_line or "",
        rulebook=f"{book.id} {book.version} · {book.sha256[:8]} · {book.status}",
        standing=plan.draft_line or next(iter(plan.deferral), ""),
        tier=_tier(plan),
        readiness=_readiness(assessment),
        supervision=_supervision(plan),
        factors=_factors(assessment),
        possible=_joined(state.label for state in assessment.factors if state.state == "unknown"),
        risk=risk_view(assessment.probability, plan.supervision.stage),
        scores=tuple(_score(score, cite) for score in assessment.published_scores),
        looks=_looks(assessment),
        settles_together=_settles(assessment, labels),
        queries=(*assessment.queries, *(note.words for note in assessment.notes)),
        drawing=eye_view(plan),
        not_written=_not_written(plan),
        steps=tuple(step_view(step, plan) for step in plan.steps),
        choices=_choices(plan, cite),
        rules=tuple(_rule(rule, cite) for rule in plan.rules),
        drills=tuple(_drill(drill, plan, cite) for drill in plan.drills if drill.in_full),
        may_be_drills=tuple(drill for drill in plan.drills if drill.may_be_likely and not drill.in_full),
        other_drills=tuple(drill for drill in plan.drills if not (drill.in_full or drill.may_be_likely)),
        kit=_kit(plan.kit),
        drugs=_drugs(plan, cite),
        lens=_lens(plan, cite),
        cautions=tuple(CautionView(caution, cite(caution.basis)) for caution in _shown_cautions(plan)),
        unknown=plan.recheck[: plan.recheck_unknown],
        recheck=plan.recheck[plan.recheck_unknown :],
        approval=_approval(plan.approval),
        sources=(),
    )
    # Listed too is what stands behind the factors found and behind what the model does not count.
    holding = (state.basis for state in assessment.factors if state.state == "holds")
    rates = (rate.basis for item in assessment.probability.not_counted for rate in item.rates)
    for basis in (*holding, *rates):
        cite(basis)
    # What prints nowhere is not listed: only now is it known what was cited.
    return replace(shown, sources=cite.cited())


def _looks(assessment: Assessment) -> tuple[LookView, ...]:
    return tuple(
        LookView(
            look.label, look.who, say("%(minutes)s min", minutes=look.minutes), _joined(look.labels), _few(look.labels)
        )
        for look in assessment.looks
    )  # fmt: skip


def _few(labels: Sequence[str]) -> str:
    """The first few labels, and how many more there are."""
    more = len(labels) - FEW
    named = _joined(labels[:FEW] if more > 1 else labels)
    return say("%(findings)s and %(more)s more", findings=named, more=more) if more > 1 else named


def _settles(assessment: Assessment, labels: Mapping[str, str]) -> str:
    """What settles the tier: the smallest set of findings where it is small, else the sittings that do."""
    if assessment.smallest_set:
        return ", ".join(labels.get(name, _spoken(name)) for name in assessment.smallest_set)
    settling = [look.label for look in assessment.looks if look.settles]
    return _joined(settling) if len(settling) > 1 else ""


def _shown_cautions(plan: Plan) -> Iterable[PlannedCaution]:
    """Cautions that hold; those that only may, where there is too little on record to say more."""
    return (caution for caution in plan.cautions if caution.certain or not plan.has_technique)


def _spoken(name: str) -> str:
    return name.replace("_", " ").replace("-", " ")


def _tier(plan: Plan) -> TierView:
    tier, given = plan.assessment.tier, plan.approval
    differs = given is not None and given.tier_approved != tier.working
    return TierView(
        str(given.tier_approved if given else tier.working),
        str(tier.working),
        say("Approved so; by the rulebook tier %(tier)s", tier=tier.working) if differs else "",
        given.tier_label if given and differs else tier.label,
        readings(tier.on_record, tier.working, tier.proved),
        tuple(as_sentence(reason.words) for reason in tier.decided_by),
        whole_range(plan.assessment.points),
    )


def _readiness(assessment: Assessment) -> ReadinessView:
    ready = assessment.readiness.state == "ready"
    because = sorted(assessment.readiness.because, key=lambda reason: not reason.certain)
    reasons = tuple(SettleView(as_sentence(reason.because), reason.settled_by) for reason in because)
    return ReadinessView(ready, say("Ready") if ready else say("Settle first"), reasons)


def _supervision(plan: Plan) -> SupervisionView:
    planned = plan.supervision
    kept, taken = ([step.short for step in plan.steps if step.who == who] for who in ("supervisor", "trainee"))
    steps = say("all but %(steps)s", steps=_joined(kept)) if len(kept) < len(taken) else _joined(taken)
    return SupervisionView(
        as_sentence(mode_words(planned.mode)),
        say("Taught today: %(step)s.", step=planned.target_short) if planned.target_short else "",
        (steps or say("none")) if kept else say("every step"),
    )


def _approval(approval: Approval | None) -> ApprovalView:
    if approval is None:
        return ApprovalView()
    conditions = say("On condition: %(text)s", text=approval.conditions) if approval.conditions else ""
    own = say("Approved by whoever had a hand in preparing it") if approval.own_case else ""
    texts = [text for text in (_covers(approval), approval.reason, conditions, own, *_changed(approval)) if text]
    remarks = " ".join(with_stop(as_sentence(text)) for text in texts)
    return ApprovalView(approval.by, moment(approval.at), str(approval.tier_approved), remarks or say("none"))


def _covers(approval: Approval) -> str:
    if approval.covers == "table":
        return say("For whoever operates, by the table of tier and stage")
    if approval.covers == "as-named":
        return say("As named alone: %(stage)s", stage=lower_first(approval.stage_short))
    return ""


def _changed(approval: Approval) -> Iterator[str]:
    """What was approved otherwise than the rulebook has it, the tier apart."""
    if approval.mode_approved != approval.mode_by_rulebook:
        yield say(
            "By the rulebook: %(planned)s. Approved: %(approved)s.",
            planned=mode_words(approval.mode_by_rulebook), approved=mode_words(approval.mode_approved),
        )  # fmt: skip
    for who in ("trainee", "supervisor"):
        labels = [step.label for step in approval.steps if step.approved == who]
        if len(labels) > STEPS_NAMED:
            yield say(
                "To the %(who)s instead: %(count)s steps, as set out below.", who=WHO[who]().lower(), count=len(labels)
            )
        elif labels:
            yield say("To the %(who)s instead: %(steps)s.", who=WHO[who]().lower(), steps=_joined(labels))


def _joined(labels: Iterable[str]) -> str:
    return ", ".join(map(lower_first, labels))


def _factors(assessment: Assessment) -> tuple[FactorState, ...]:
    """What holds, heaviest first."""
    holding = (state for state in assessment.factors if state.state == "holds")
    return tuple(sorted(holding, key=lambda state: (-(state.floor or 0), -state.points)))


def _score(score: PublishedScore, cite: Citations) -> ScoreView:
    groups = []
    for group in score.groups:
        rates = [
            say("%(what)s %(events)s of %(eyes)s", what=_spoken(name), events=events, eyes=eyes)
            + f" ({percent(events / eyes)})"
            for name, (events, eyes) in group.rates.items()
        ]
        parts = [part for part in (group.meaning, *rates[:SCORE_RATES]) if part]
        groups.append(f"{as_sentence(group.label)}: {'; '.join(parts)}." if parts else f"{as_sentence(group.label)}.")
    outcome, points = as_sentence(score.outcome), whole_range(score.points)
    return ScoreView(
        score.authors,
        say("%(author)s and others", author=score.first_author),
        cite.number(score.source),
        outcome,
        points,
        tuple(groups),
    )


def _choices(plan: Plan, cite: Citations) -> tuple[ChoiceView, ...]:
    """Choices in the order of the steps, each with what is still possible instead; none without a technique."""
    if not plan.has_technique:
        return ()
    order = {step.id: step.number for step in plan.steps}
    return tuple(
        ChoiceView(
            c.label, c.way.why, cite(c.way.basis),
            _alternatives([other.label for other in c.rejected if other.possible], c.settled_by),
        )
        for c in sorted(plan.choices.values(), key=lambda c: order.get(c.step, 0))
    )  # fmt: skip


def _not_written(plan: Plan) -> str:
    """What stands in place of a technique where too little is recorded to write one; else nothing."""
    if plan.has_technique:
        return ""
    return next((line for step in plan.steps for line in step.do), "")


def _alternatives(possible: list[str], settled_by: tuple[str, ...]) -> str:
    if not possible:
        return ""
    sentences = [say("Still possible: %(options)s.", options="; ".join(map(lower_first, possible)))]
    if settled_by:
        sentences.append(say("Settled by: %(findings)s.", findings=_few(settled_by)))
    return " ".join(sentences)


def _drill(drill: PlannedDrill, plan: Plan, cite: Citations) -> DrillView:
    labels = {item.id: item.label for item in plan.kit}
    return DrillView(drill, ", ".join(labels.get(item, _spoken(item)) for item in drill.kit), cite(drill.basis))


def _kit(items: tuple[KitItem, ...]) -> tuple[tuple[str, tuple[KitItem, ...]], ...]:
    """Kit by how badly it is needed; empty groups are left out."""
    needs = {
        "essential": say("Essential in this case"),
        "always": say("Every case"),
        "preferred": say("If the unit has it"),
        "if-found": say("Ready in case it is found"),
    }
    groups = [(heading, tuple(item for item in items if item.need == need)) for need, heading in needs.items()]
    return tuple((heading, wanted) for heading, wanted in groups if wanted)


def _rule(rule: PlannedRule, cite: Citations) -> RuleView:
    """What is withheld stays visible, with what to do instead and the hazard it was for."""
    parts = [rule.text]
    if rule.instead:
        parts.append(say("Instead: %(what)s.", what=rule.instead))
    if rule.hazard:
        parts.append(say("The hazard remains: %(hazard)s.", hazard=rule.hazard))
    force = FORCES[rule.force]()
    if not rule.certain:
        force = say("%(force)s, if found", force=force)
    return RuleView(force, " ".join(parts), cite(rule.basis))


def _drugs(plan: Plan, cite: Citations) -> tuple[DrugView, ...]:
    """Withheld first, then what waits for a check: what must not be given is read before what may."""
    order = ("withheld", "not-until-checked", "as-prescribed")
    return tuple(
        DrugView(
            d.label, ", ".join(part for part in (d.route, d.concentration) if part),
            _dose(d),
            _state(d), d.state == "withheld",
            _standing(d), "; ".join(d.contraindications), " ".join(d.check), cite(d.basis),
        )
        for d in sorted(plan.drugs, key=lambda d: order.index(d.state))
    )  # fmt: skip


def _dose(drug: PlannedDrug) -> str:
    if not drug.maximum:
        return drug.dose
    if drug.dose.endswith("."):
        return f"{drug.dose} {say('At most %(maximum)s', maximum=drug.maximum)}"
    return drug.dose + say("; at most %(maximum)s", maximum=drug.maximum)


def _standing(drug: PlannedDrug) -> str:
    """`Not until checked: ...`, or `Withheld: ... Instead: ...`; nothing for a drug given as prescribed."""
    if drug.state == "as-prescribed":
        return ""
    instead = "; ".join(text for text in drug.instead if text)
    words = f"{_state(drug)}: {'; '.join(drug.reasons)}."
    return f"{words} {say('Instead: %(what)s.', what=instead)}" if instead else words


def _state(drug: PlannedDrug) -> str:
    return {"withheld": say("Withheld"), "not-until-checked": say("Not until checked")}.get(drug.state, "")


def _lens(plan: Plan, cite: Citations) -> LensView:
    lens = plan.lens
    reference = lens.biometry_reference or say("not recorded")
    return LensView(
        dioptres(lens.power_d) if lens.power_d is not None else say("not recorded"),
        dioptres(lens.backup_power_d) if lens.backup_power_d is not None else say("not recorded"),
        lens.material or say("not recorded"),
        say("%(sheet)s, dated %(date)s", sheet=reference, date=day(lens.biometry_date))
        if lens.biometry_date
        else say("%(sheet)s, date not recorded", sheet=reference),
        tuple((row.table, change(*row.change), cite(row.basis)) for row in lens.sulcus),
        cite(lens.captured_basis),
        cite(lens.note_basis),
    )
