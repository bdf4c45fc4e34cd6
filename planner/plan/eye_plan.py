"""`plan_eye(assessment, rulebook, unit)`: what depends on the eye alone, made once whoever sits down."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache

from planner.assess.assess import Assessor, assessor
from planner.assess.assessment import Assessment, Readiness
from planner.assess.trace import fill
from planner.case import Case
from planner.claims import Basis
from planner.plan.choices import choose
from planner.plan.gates import worse_words
from planner.plan.picture import Picture
from planner.plan.plan import (
    CitedSource,
    EyePlan,
    KitItem,
    OpenFindings,
    PlannedCaution,
    PlannedDrill,
    PlannedLens,
    PlannedRule,
    PlannedStep,
    SulcusRow,
)
from planner.plan.steps import plan_steps, with_bar
from planner.plan.stock import plan_drugs, plan_kit, planned_drug
from planner.rulebook.plan_shapes import Drill, DrillStep, SulcusTable
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.wording.reasons import MissingKit

LIKELY_AT_MOST = 3
REMEMBERED_AT_MOST = 200


def plan_eye(assessment: Assessment, rulebook: Rulebook, unit: Unit | None = None) -> EyePlan:
    """The eye's part of its plan in this unit, kit that it lacks settled first; eyes with the same values are kept."""
    values = tuple(assessment.case.values(rulebook.vocabulary))
    written = _written(_Eye((id(assessor(rulebook)), values), assessment, rulebook))
    in_unit = unit.kit if unit is not None else None
    kit = tuple(replace(item, lacking=in_unit is not None and item.id not in in_unit) for item in written.kit)
    plan = replace(
        written,
        assessment=replace(assessment, readiness=_with_kit(assessment.readiness, kit)),
        unit=unit.unit if unit else None,
        contact=unit.supervisor_contact if unit else None,
        kit=kit,
    )
    return replace(plan, sources=_cited(plan, rulebook))


def _with_kit(readiness: Readiness, kit: tuple[KitItem, ...]) -> Readiness:
    lacking = tuple(
        MissingKit(f"kit-{item.id}", "", item.certain, item.label, "", item.wanted_by, item.need == "always")
        for item in kit
        if item.lacking and item.need in ("always", "essential")
    )
    return Readiness("settle-first", (*readiness.because, *lacking)) if lacking else readiness


@dataclass(frozen=True)
class _Eye:
    """An eye by its values in force: what is made of it serves every case that has the same."""

    key: Hashable
    assessment: Assessment = field(compare=False)
    rulebook: Rulebook = field(compare=False)


@lru_cache(maxsize=REMEMBERED_AT_MOST)
def _written(eye: _Eye) -> EyePlan:
    """All that the values decide; whose case it is, and in which unit, is added afterwards."""
    rulebook, assessment = eye.rulebook, eye.assessment
    picture = Picture(assessor(rulebook), assessment.case)
    choices = choose(picture)
    picture.as_planned(choices)
    drugs, drills = plan_drugs(picture, choices), _drills(picture)
    theatre = rulebook.theatre
    return EyePlan(
        assessment=assessment,
        unit=None,
        contact=None,
        choices=choices,
        steps=_marked(plan_steps(picture, assessment, choices, drugs), _usual(picture.assessor)),
        drills=drills,
        kit=plan_kit(picture, choices, [drill for drill in drills if drill.likely or drill.in_full]),
        drugs=drugs,
        formulary_note=rulebook.kit.formulary_note,
        cautions=_cautions(picture),
        rules=_rules(picture),
        lens=_lens(assessment.case, rulebook),
        recheck=_recheck_lines(picture),
        recheck_unknown=_not_recorded(picture, assessment),
        recheck_then=theatre.recheck_then,
        outcome=tuple((one.ask, tuple(one.answers)) for one in theatre.outcome),
        deferral=tuple(theatre.deferral),
        range_note=theatre.range_note,
        score_note=theatre.score_note,
        scale_note=rulebook.tiers.scale_note,
        sources=(),
        title=rulebook.header.title,
        draft_line=None if rulebook.header.status == "in-force" else rulebook.header.draft_line,
        overrides=tuple(one.id for one in rulebook.supervision.overrides if picture.truth(f"override:{one.id}")),
    )


def _marked(steps: tuple[PlannedStep, ...], usual: frozenset[str]) -> tuple[PlannedStep, ...]:
    return tuple(replace(step, different=tuple(line for line in step.do if line not in usual)) for step in steps)


@lru_cache(maxsize=8)
def _usual(judge: Assessor) -> frozenset[str]:
    """The lines to do in an ordinary eye, each finding at its plain value."""
    findings = judge.rulebook.vocabulary.findings
    plain = judge.plain_eye([None] * len(findings))
    if plain is None:
        return frozenset()
    values = {finding.id: value for finding, value in zip(findings, plain, strict=True) if value is not None}
    for name in judge.rulebook.vocabulary.on_record_needs:
        # What has no plain value, such as an age, takes the middle one of those that the rulebook tells apart.
        cells = judge.compiled.cells[judge.compiled.index[name]]
        values.setdefault(name, cells[len(cells) // 2])
    case = Case("", "right", values)
    picture = Picture(judge, case)
    choices = choose(picture)
    picture.as_planned(choices)
    steps = plan_steps(picture, judge.assess(case, None, None), choices, plan_drugs(picture, choices))
    return frozenset(line for step in steps for line in step.do)


def _drills(picture: Picture) -> tuple[PlannedDrill, ...]:
    """Drills by how likely the eye on record makes them, then by danger; of those it makes likely the first three."""
    ordered = sorted(
        ((_weight(picture, drill), drill) for drill in picture.rulebook.drills.values()),
        key=lambda pair: (-pair[0], not pair[1].always_in_full, -pair[1].danger, pair[1].id),
    )
    planned = []
    for place, (weight, drill) in enumerate(ordered):
        likely = weight > 0 and place < LIKELY_AT_MOST
        may_be_likely = weight == 0 and picture.truth(f"drill:{drill.id}") is None
        steps = tuple(_drill_step(picture, step) for step in drill.steps)
        planned.append(
            PlannedDrill(
                drill.id, drill.label, likely, may_be_likely, likely or drill.always_in_full, tuple(drill.signs),
                drill.stop_first, steps, drill.call, tuple(drill.kit), drill.leave, drill.basis,
            )
        )  # fmt: skip
    return tuple(planned)


def _drill_step(picture: Picture, step: DrillStep) -> str:
    drug = next((drug for drug in picture.rulebook.kit.drugs if drug.id == step.drug), None)
    return step.do if drug is None else with_bar(step.do, planned_drug(picture, drug))


def _weight(picture: Picture, drill: Drill) -> int:
    likely = enumerate(drill.likely)
    return max((one.weight for place, one in likely if picture.on_record(f"drill:{drill.id}:{place}")), default=0)


def _cautions(picture: Picture) -> tuple[PlannedCaution, ...]:
    cautions = []
    for caution in picture.rulebook.cautions.values():
        truth = picture.truth(f"caution:{caution.id}")
        if truth is not False:
            text = fill(caution.text, picture.case, picture.rulebook.vocabulary)
            cautions.append(PlannedCaution(caution.id, text, truth is True, caution.basis))
    return tuple(sorted(cautions, key=lambda caution: not caution.certain))


def _rules(picture: Picture) -> tuple[PlannedRule, ...]:
    forces, rules = ("withhold", "require", "order", "prefer", "tell"), []
    for rule in picture.rulebook.interactions.rules:
        truth = picture.truth(f"rule:{rule.id}")
        if truth is not False:
            about = picture.names.get(rule.about, rule.about)
            said = rule.text, rule.instead, rule.hazard
            rules.append(PlannedRule(rule.id, rule.force, about, *said, truth is True, rule.basis))
    return tuple(sorted(rules, key=lambda rule: (not rule.certain, forces.index(rule.force))))


def _lens(case: Case, rulebook: Rulebook) -> PlannedLens:
    """No power is computed: the tables are a cross-check for the same lens, shown beside the recorded power."""

    def number(name: str) -> float | None:
        value = case.in_force.get(name)
        return value if isinstance(value, float) else None

    def text(name: str) -> str | None:
        return rulebook.vocabulary.by_id[name].shown(case.in_force[name]) if name in case.in_force else None

    power = number("lens_power_d")
    rows = () if power is None else (sulcus_change(table, power) for table in rulebook.lens.sulcus_tables)
    sulcus, lens, backup = tuple(row for row in rows if row), rulebook.lens, number("backup_lens_power_d")
    material, sheet, on = text("planned_lens_material"), text("biometry_reference"), text("biometry_date")
    return PlannedLens(
        power, backup, material, sheet, on, sulcus, lens.captured, lens.captured_basis, lens.note, lens.note_basis
    )


def sulcus_change(table: SulcusTable, power: float) -> SulcusRow | None:
    """The change in dioptres that a table prints for a bag power; None outside what it prints."""
    change = next((band.change for band in table.bands if band.covers(power)), None)
    return None if change is None else SulcusRow(table.label, change, table.basis)


def _recheck_lines(picture: Picture) -> tuple[tuple[str, str], ...]:
    """The rulebook's lines that may hold of this eye: what is asked, and what is worse than planned."""
    rulebook, case = picture.rulebook, picture.case
    return tuple(
        (fill(line.ask, case, rulebook.vocabulary), fill(line.worse_than, case, rulebook.vocabulary))
        for place, line in enumerate(rulebook.theatre.recheck)
        if picture.on_record(f"recheck:{place}") is not False
    )


def _not_recorded(picture: Picture, assessment: Assessment) -> tuple[OpenFindings, ...]:
    """What is not recorded and can still be looked for in theatre, by sitting, and what of it is worse than planned."""
    vocabulary, theatre = picture.rulebook.vocabulary, picture.rulebook.theatre
    lines = []
    for look in assessment.looks:
        seen = [vocabulary.by_id[name] for name in look.findings if vocabulary.by_id[name].seen_at is not None]
        worse = [words for finding in seen if (words := worse_words(picture, finding))]
        if worse:
            lines.append(OpenFindings(theatre.recheck_not_recorded, look.label, tuple(worse)))
    return tuple(lines)


def _cited(plan: EyePlan, rulebook: Rulebook) -> tuple[CitedSource, ...]:
    """Every source that a basis in the plan names, and those of the models whose numbers print."""
    keys = {rulebook.odds.source, *(score.source for score in rulebook.scores)}
    keys.update(basis.source for basis in _bases(plan) if basis.source is not None)
    numbered = enumerate((rulebook.sources[key] for key in sorted(keys) if key in rulebook.sources), 1)
    return tuple(CitedSource(n, s.id, s.citation, s.read, s.locator, s.known) for n, s in numbered)


def _bases(plan: EyePlan) -> Iterator[Basis]:
    lens, probability = plan.lens, plan.assessment.probability
    yield from (state.basis for state in plan.assessment.factors if state.state in ("holds", "unknown"))
    yield from (chosen.way.basis for chosen in plan.choices.values())
    for claims in (plan.drills, plan.drugs, plan.cautions, plan.rules, lens.sulcus):
        yield from (claim.basis for claim in claims)
    yield from (lens.captured_basis, lens.note_basis)
    yield from (rate.basis for item in probability.not_counted for rate in item.rates)
    if probability.recentred is not None and probability.recentred.era is not None:
        yield probability.recentred.era.basis
