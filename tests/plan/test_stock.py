"""Kit and drugs: what the unit lacks settles first or is replaced; no drug is given past an open contraindication."""

from __future__ import annotations

import random

import pytest
from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.case import Case
from planner.documents.plan.text import render_text
from planner.plan.make import make_plan
from planner.plan.plan import Plan, PlannedDrug
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

TENSE = {**WHITE, "cortex": "tense-fluid", "anterior_chamber_depth_mm": "2.7", "iop_mmhg": "26"}


def unit_without(rulebook: Rulebook, *items: str) -> Unit:
    """A unit that holds everything else."""
    held = [item.id for item in rulebook.kit.equipment if item.id not in items]
    assert len(held) == len(rulebook.kit.equipment) - len(items)
    return Unit(unit="invented", kit=held)


def planned(rulebook: Rulebook, case: Case, unit: Unit | None = None) -> Plan:
    return make_plan(assess(case, rulebook, unit), rulebook, unit)


# -- kit --------------------------------------------------------------------------------------------------------------


def test_an_essential_item_that_is_lacking_settles_first(rulebook: Rulebook) -> None:
    eye = plain_eye(rulebook, **WHITE)
    assert planned(rulebook, eye, unit_without(rulebook)).assessment.readiness.state == "ready"
    plan = planned(rulebook, eye, unit_without(rulebook, "trypan-blue"))
    (item,) = [item for item in plan.kit if item.id == "trypan-blue"]
    assert (item.need, item.lacking) == ("essential", True)
    readiness = plan.assessment.readiness
    assert readiness.state == "settle-first"
    (reason,) = readiness.because
    assert (reason.id, reason.certain) == ("kit-trypan-blue", True)
    assert item.label.lower() in reason.because.lower()
    assert "borrow it, move the case, or postpone" in reason.settled_by
    # The plan still prints, under that headline.
    assert len(plan.steps) == len(rulebook.steps)


def test_an_item_for_every_case_is_essential_too(rulebook: Rulebook) -> None:
    plan = planned(rulebook, plain_eye(rulebook), unit_without(rulebook, "emergency-trolley"))
    assert plan.assessment.readiness.state == "settle-first"
    assert [reason.id for reason in plan.assessment.readiness.because] == ["kit-emergency-trolley"]


def test_a_preferred_item_that_is_lacking_falls_back_and_says_so(rulebook: Rulebook) -> None:
    eye = plain_eye(rulebook, **WHITE)
    everything = planned(rulebook, eye, unit_without(rulebook))
    wanted = [item.id for item in everything.kit if item.need == "preferred"]
    assert wanted
    for name in wanted:
        plan = planned(rulebook, eye, unit_without(rulebook, name))
        assert plan.assessment.readiness.state == "ready", name
        (item,) = [item for item in plan.kit if item.id == name]
        equipment = next(equipment for equipment in rulebook.kit.equipment if equipment.id == name)
        assert item.lacking and item.note == equipment.without
        assert equipment.without in " ".join(render_text(plan).split())


def test_a_unit_that_gave_no_list_lacks_nothing(rulebook: Rulebook) -> None:
    for unit in (None, Unit(unit="invented")):
        assert not any(item.lacking for item in planned(rulebook, plain_eye(rulebook, **WHITE), unit).kit)


def test_lacking_any_one_item_settles_first_just_when_it_is_essential(ready: Assessor, rulebook: Rulebook) -> None:
    settled = 0
    for seed in range(40):
        draw = random.Random(seed)
        case = as_case(ready.compiled, complete_values(ready.compiled, draw, 0.9))
        everything = planned(rulebook, case, unit_without(rulebook))
        before = {reason.id for reason in everything.assessment.readiness.because}
        item = draw.choice(everything.kit)
        readiness = planned(rulebook, case, unit_without(rulebook, item.id)).assessment.readiness
        added = {reason.id for reason in readiness.because} - before
        assert added == (set() if item.need == "preferred" else {f"kit-{item.id}"}), (seed, item.id)
        settled += bool(added)
    assert 5 < settled < 40


# -- drugs ------------------------------------------------------------------------------------------------------------


def drug(plan: Plan, name: str) -> PlannedDrug:
    (found,) = [drug for drug in plan.drugs if drug.id == name]
    return found


@pytest.mark.parametrize(
    ("finding", "bars", "clears", "asks"),
    [
        ("sulphonamide_allergy", "yes", "no", "sulphonamide allergy"),
        ("renal_impairment", "moderate", "none", "moderate or severe kidney disease"),
        ("low_potassium_or_sodium", "yes", "no", "low potassium or sodium"),
        ("sickle_disease", "yes", "no", "sickle-cell disease or trait"),
    ],
)
def test_acetazolamide_waits_for_each_contraindication(
    rulebook: Rulebook, finding: str, bars: str, clears: str, asks: str
) -> None:
    """Its label bars it in each of these; what is not recorded must be checked before it is given."""
    given = drug(planned(rulebook, plain_eye(rulebook, **TENSE, **{finding: clears})), "acetazolamide")
    assert (given.state, given.reasons) == ("as-prescribed", ())
    withheld = drug(planned(rulebook, plain_eye(rulebook, **TENSE, **{finding: bars})), "acetazolamide")
    assert withheld.state == "withheld"
    assert withheld.reasons and withheld.instead and all(withheld.instead)
    plan = planned(rulebook, plain_eye(rulebook, **TENSE, **{finding: "not-recorded"}))
    waiting = drug(plan, "acetazolamide")
    assert waiting.state == "not-until-checked"
    assert waiting.reasons == (asks,)
    text = " ".join(render_text(plan).split())
    assert f"Not until checked: {asks}" in text


def test_no_drug_is_given_plainly_past_what_may_hold_against_it(ready: Assessor, rulebook: Rulebook) -> None:
    """State against the truth of each contraindication in the complete case the partial one was made from."""
    compiled = ready.compiled
    seen = dict.fromkeys(("as-prescribed", "not-until-checked", "withheld"), 0)
    for seed in range(150):
        draw = random.Random(seed)
        values = complete_values(compiled, draw, 0.8)
        partial = [None if draw.random() < 0.1 else value for value in values]
        plan = planned(rulebook, as_case(compiled, partial))
        truths, _ = compiled.core(values)
        lines = compiled.rest(values, truths, compiled.options(values, truths))
        for shown in plan.drugs:
            whole = next(drug for drug in rulebook.kit.drugs if drug.id == shown.id)
            barred = any(lines[compiled.rest_place[f"drug:{whole.id}:{against.id}"]] for against in whole.withhold)
            assert not (barred and shown.state == "as-prescribed"), (seed, shown.id)
            assert (shown.state == "as-prescribed") == (not shown.reasons)
            assert (shown.state == "withheld") == bool(shown.instead)
            seen[shown.state] += 1
    assert min(seen.values()) > 20, seen


def test_every_dose_is_to_be_checked_against_the_local_formulary(rulebook: Rulebook) -> None:
    plan = planned(rulebook, plain_eye(rulebook, **TENSE))
    assert plan.drugs and "formulary" in plan.formulary_note
    assert " ".join(plan.formulary_note.split()) in " ".join(render_text(plan).split())
