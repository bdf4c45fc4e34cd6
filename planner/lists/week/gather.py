"""From cases, rulebook, unit and sessions file to the instance that lists are judged by."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from planner import conditions
from planner.assess.assess import assessor
from planner.assess.assessment import Assessment
from planner.case import STAGES, Case, Stage
from planner.conditions import FactorHolds, OptionWins, Test
from planner.errors import PlannerError
from planner.lists.roster.shapes import Limits, Patient, Roster
from planner.lists.week.instance import (
    Covering,
    Fellow,
    FixedOrder,
    Instance,
    Key,
    ListCase,
    Lists,
    SupervisionNeed,
    Trainee,
)
from planner.lists.week.one_patient import contradictions
from planner.lists.week.overrun import Time
from planner.lists.week.urgency import waiting
from planner.plan.allocation import allocate
from planner.plan.approved import ApprovedScope, allocated
from planner.plan.eye_plan import plan_eye
from planner.plan.plan import Plan
from planner.rulebook.list_shapes import OPERATORS
from planner.rulebook.rulebook import Rulebook
from planner.truth import Truth
from planner.unit import Unit
from planner.wording.conditions import sentence

_TRUTHS: dict[str, Truth] = {"holds": True, "unknown": None}


def stages_of(rulebook: Rulebook, unit: Unit, roster: Roster) -> list[Stage]:
    """The stages that there are among the trainees, the earliest first. Raises PlannerError for an unknown trainee."""
    return sorted({unit.stage_of(learner.id, rulebook) for learner in roster.trainees}, key=STAGES.index)


def instance_of(
    cases: Iterable[ListCase], rulebook: Rulebook, unit: Unit, roster: Roster, on: datetime.date | None = None
) -> Instance:
    """The instance of cases as lists see them, planned `on` a day. Raises PlannerError for an unknown trainee."""
    trainees = {}
    for learner in roster.trainees:
        stage = unit.stage_of(learner.id, rulebook)
        trainees[learner.id] = Trainee(
            learner.id, stage, learner.cleared_at(stage), frozenset(learner.leave), learner.target,
            frozenset(learner.needs), learner.shown_tier, learner.done,
        )  # fmt: skip
    durations, limits = rulebook.durations, roster.limits
    times: dict[str, Time] = {}
    for operator in OPERATORS:
        own, grade = limits.operating_minutes.get(operator), durations.grade_of(operator)
        times[operator] = Time(own.mean, own.sd) if own else Time(grade.mean, grade.sd)
    own_days = limits.days_between_eyes
    patients: dict[str | None, Patient] = {patient.id: patient for patient in roster.patients}
    late: dict[Key, str] = {(one.case, one.eye): one.because for one in roster.late_accepted}
    return Instance(
        cases={
            case.key: replace(_when_they_can_come(case, patients), late_because=late.get(case.key)) for case in cases
        },
        trainees=trainees,
        supervisors={supervisor.id: supervisor for supervisor in roster.supervisors},
        sessions={session.id: session for session in roster.sessions},
        times=times,
        times_basis=_basis(rulebook, limits),
        turnover=durations.turnover.minutes if limits.turnover_minutes is None else limits.turnover_minutes,
        overrun_chance=limits.overrun_chance or durations.overrun.chance_at_most,
        order=tuple(
            FixedOrder(
                rule.id,
                rule.place == "first",
                rule.because,
                rule.basis.words,
                sentence(rule.when, rulebook.vocabulary, {}),
            )
            for rule in rulebook.lists.order
        ),
        anaesthetist_because=rulebook.lists.anaesthetist.because,
        near_powers=rulebook.lists.clashes.near_powers_d,
        night_from=datetime.time.fromisoformat(rulebook.lists.night.starts),
        days_between_eyes=rulebook.lists.eyes.days_between if own_days is None else own_days,
        days_between_eyes_basis=rulebook.lists.eyes.basis.words if own_days is None else "the sessions file",
        wishes=roster.wishes,
        on=on,
        both_eyes_agreed=frozenset(patient.id for patient in roster.patients if patient.both_eyes_agreed),
    )


def _when_they_can_come(case: ListCase, patients: Mapping[str | None, Patient]) -> ListCase:
    patient = patients.get(case.patient)
    if patient is None:
        return case
    away = frozenset(patient.away)
    return replace(case, away=away, not_before=patient.not_before, short_notice=patient.short_notice)


class Gathered:
    """An instance with the plans it was made from: every case planned for each stage among the trainees."""

    def __init__(self, cases: Iterable[Case], rulebook: Rulebook, unit: Unit, roster: Roster) -> None:
        """Raises PlannerError for an unknown trainee, and for cases that cannot all be of the patient they name."""
        cases = list(cases)
        if faults := [one.fault for one in contradictions(cases)]:
            raise PlannerError(faults)
        self._rulebook, judge = rulebook, assessor(rulebook)
        stages: Sequence[Stage | None] = stages_of(rulebook, unit, roster) or [None]
        self._eyes = {
            (case.reference, case.eye): plan_eye(judge.assess(case, unit, None), rulebook, unit) for case in cases
        }
        listed = (
            list_case({stage: allocate(eye, rulebook, stage) for stage in stages}, rulebook, roster.limits)
            for eye in self._eyes.values()
        )
        self.instance = instance_of(listed, rulebook, unit, roster)

    def plans(self, lists: Lists) -> dict[Key, Plan]:
        """The plan of every placed case, for the stage of the trainee it is placed with."""
        made = {}
        for placing in lists.placings:
            stage = self.instance.trainees[placing.trainee].stage if placing.trainee else None
            made[placing.case] = allocate(self._eyes[placing.case], self._rulebook, stage)
        return made


def _basis(rulebook: Rulebook, limits: Limits) -> str:
    durations = rulebook.durations
    published = f"{durations.shape.words} Operating minutes: {durations.grades[0].basis.words}"
    own = ", ".join(f"{name} ({row.cases} cases)" for name, row in limits.operating_minutes.items())
    return published + (f"; from the unit's own log: {own}" if own else "") + "."


def list_case(
    plans: Mapping[Stage | None, Plan],
    rulebook: Rulebook,
    limits: Limits,
    given: ApprovedScope | None = None,
    approval: Covering | None = None,
) -> ListCase:
    """A case as lists see it: as the rulebook has it, or as it was `given`; `approval` says what that lets be placed.

    `plans` are for each stage among the trainees, for the case's own (None) where there are none. For a stage that the
    approval does not cover, supervision is what the tier as approved would ask for.
    """
    plan = next(iter(plans.values()))
    assessment, case = plan.assessment, plan.assessment.case
    rules = rulebook.lists
    answered = {*rules.consent.settles, *rules.agreement.settles}
    to_hand = {device.device for chosen in plan.choices.values() for device in chosen.way.drawn}
    findings = case.in_force
    waits = waiting(findings.get("urgency"), findings.get("needed_by"), case.listed_on, case.recorded_on, limits)
    return ListCase(
        reference=case.reference,
        eye=case.eye,
        patient=case.patient,
        tier=given.tier if given else assessment.tier.working,
        with_stage={stage: _supervision(planned_for, rulebook, given) for stage, planned_for in plans.items() if stage},
        kit={item.id: item.label for item in plan.kit if item.need == "essential"},
        added=tuple((row.device, row.minutes) for row in rulebook.durations.additions if row.device in to_hand),
        anaesthetist=_truth(rules.anaesthetist.when, case, assessment, plan),
        order={rule.id: _truth(rule.when, case, assessment, plan) for rule in rules.order},
        consent=_truth(rules.consent.when, case, assessment, plan),
        agreement=_truth(rules.agreement.when, case, assessment, plan),
        unsettled=tuple(
            f"{reason.because} (settled by {reason.settled_by})"
            for reason in plan.assessment.readiness.because
            if reason.id not in answered
        ),
        urgency=waits.urgency,
        last_day=waits.last_day,
        why_then=waits.why_then,
        since=waits.since,
        listed=waits.listed,
        recorded_on=case.recorded_on,
        dated=_dated(case, rulebook),
        general_anaesthetic=_truth(rules.general_anaesthetic.when, case, assessment, plan),
        recovery=_truth(rules.recovery.when, case, assessment, plan),
        lens_power=_number(case, "lens_power_d"),
        backup_power=_number(case, "backup_lens_power_d"),
        alerts=tuple((alert.says, _truth(alert.when, case, assessment, plan)) for alert in rules.alerts),
        alert_kinds={alert.says: alert.kind for alert in rules.alerts},
        lens_material=_words(case, "planned_lens_material", rulebook),
        approval=approval,
        fellow=Fellow("the other eye, by the record of this case", None, True) if findings.get("second_eye") else None,
        reviewed_on=reviewed if isinstance(reviewed := findings.get("first_eye_reviewed_on"), datetime.date) else None,
    )


def _number(case: Case, finding: str) -> float | None:
    value = case.in_force.get(finding)
    return float(value) if isinstance(value, int | float) else None


def _words(case: Case, finding: str, rulebook: Rulebook) -> str | None:
    value = case.in_force.get(finding)
    return None if value is None else rulebook.vocabulary.by_id[finding].shown(value)


def _supervision(plan: Plan, rulebook: Rulebook, given: ApprovedScope | None) -> SupervisionNeed:
    """As planned for the stage, or as it was given."""
    if given is not None:
        stage = plan.supervision.stage
        covered = given.holds_for(stage)
        plan = allocated(plan, rulebook, given) if covered else allocate(plan, rulebook, stage, given.tier)
    return SupervisionNeed(plan.supervision.mode, plan.supervision.by, plan.trainee_steps)


def _truth(when: conditions.Condition, case: Case, assessment: Assessment, plan: Plan) -> Truth:
    """Whether it holds for the case as planned; an option that is still only provisional may hold."""
    findings = case.in_force
    states = {factor.id: _TRUTHS.get(factor.state, False) for factor in assessment.factors}

    def tested(test: Test) -> Truth:
        value = findings.get(test.finding)
        return None if value is None else conditions.compare(test, value)

    def named(part: FactorHolds | OptionWins) -> Truth:
        if isinstance(part, FactorHolds):
            return states[part.factor]
        choice, option = part.option.split(".", 1)
        chosen = plan.choices[choice]
        if chosen.option == option:
            return None if chosen.provisional else True
        return None if any(other.option == option and other.possible for other in chosen.rejected) else False

    return conditions.evaluate(when, tested, named)


def _dated(case: Case, rulebook: Rulebook) -> tuple[tuple[str, datetime.date | None, int], ...]:
    """What was measured and grows old: its label, the day, and the days that the vocabulary lets it hold."""
    rows = []
    for name, holds in rulebook.vocabulary.validity(case.in_force).items():
        measured = case.in_force.get(name)
        day = measured if isinstance(measured, datetime.date) else None
        rows.append((rulebook.vocabulary.by_id[name].label, day, holds))
    return tuple(rows)
