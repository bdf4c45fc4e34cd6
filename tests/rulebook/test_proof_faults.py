"""A deliberate fault for each claim of the proof, in copies of the shipped rules; each is found by a case.

Every counter-example is read as a case file and put to `assess` and `make_plan`, which must show the same fault.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from faulty_rules import Edit, as_filed, broken, made_worse, refuted
from plain_eye import plain_eye
from seeds import one_in

from planner.assess.assess import assess, assessor
from planner.case import STAGES, Stage
from planner.conditions import ALWAYS
from planner.errors import PlannerError
from planner.plan.choices import Picture, possible_winners
from planner.plan.eye_plan import sulcus_change
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.load import load
from planner.rulebook.proof import choosing
from planner.rulebook.proof.example import read
from planner.rulebook.proof.inquiry import Bench
from planner.rulebook.proof.report import CounterExample
from planner.rulebook.prove import prove
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
from planner.truth import Truth

PATIENT, PUPIL = "factors/patient.yaml", "factors/zonule-and-pupil.yaml"


def plan_of(example: CounterExample, rulebook: Rulebook, stage: Stage | None = None) -> Plan:
    return make_plan(assess(as_filed(example, rulebook), rulebook), rulebook, stage=stage)


def picture_of(example: CounterExample, rulebook: Rulebook) -> Picture:
    return Picture(assessor(rulebook), as_filed(example, rulebook))


# -- nothing is idle ----------------------------------------------------------------------------------------------

IDLE = {
    "factor:moderate-endothelial-count": Edit(
        "factors/cornea.yaml", "at_least: 1000, less_than: 2000", "at_least: 2000, less_than: 1000"
    ),
    "option:capsule-opening.test-puncture-first": Edit(
        "choices/capsule-opening.yaml",
        "when: {factor: solid-white-lens}",
        "when: {all: [{factor: solid-white-lens}, {factor: tense-white-lens}]}",
    ),
    "drill:oil-forward": Edit(
        "drills/nucleus-and-zonule.yaml",
        "{when: {factor: silicone-oil}, weight: 8}",
        "{when: {all: [{factor: silicone-oil}, {not: {factor: previous-vitrectomy}}]}, weight: 8}",
    ),
    "caution:polar-size": Edit(
        "cautions.yaml",
        "{finding: polar_opacity_mm, at_least: 4}",
        "{all: [{finding: polar_opacity_mm, at_least: 4}, {finding: posterior_polar_opacity, is: no}]}",
    ),
    "line:after:short-eye-late": Edit(
        "steps.yaml",
        "{factor: very-short-eye}",
        "{all: [{factor: very-short-eye}, {factor: long-eye}]}",
        after="id: short-eye-late",
    ),
    # Oil is asked about only after a vitrectomy, so it is never found without one.
    "rule:oil-changes-the-lens": Edit(
        "interactions.yaml",
        "{any: [{factor: silicone-oil}, {factor: previous-vitrectomy}]}",
        "{factor: silicone-oil}, {not: {factor: previous-vitrectomy}}",
    ),
}


@pytest.mark.parametrize("name", one_in(6, IDLE))
def test_what_can_never_happen_is_found(tmp_path: Path, rulebook: Rulebook, name: str) -> None:
    broken_rulebook, claim = refuted(tmp_path, "can-happen", IDLE[name])
    [example] = claim.counter_examples
    file, line, _ = example.says.split(":", 2)
    assert file == f"rules/{IDLE[name].file}" and line.isdigit()
    assert name.split(":")[-1] in example.says
    # The engine agrees: a case that shows it under the shipped rules no longer does.
    bench, made = Bench(rulebook), assessor(rulebook).compiled
    shows = bench.prover.find(*bench.case.as_filed(), bench.case.holds(made.conditions[name]))
    assert shows is not None
    values = list(read(bench.case, shows).values())
    assert truth_in(rulebook, values, name) is True
    assert truth_in(broken_rulebook, values, name) is False


@pytest.mark.long
def test_a_caution_on_what_is_not_recorded_is_found_idle_too(tmp_path: Path, rulebook: Rulebook) -> None:
    # The cortex is not asked about in a brown lens, so that it is never missing there.
    edit = Edit(
        "cautions.yaml",
        "{all: [{factor: white-lens}, {finding: cortex, recorded: no}]}",
        "{all: [{factor: brown-lens}, {finding: cortex, recorded: no}]}",
    )
    broken_rulebook, claim = refuted(tmp_path, "can-happen", edit)
    assert ["tense-or-slack-unknown" in example.says for example in claim.counter_examples] == [True]
    for opacity in ("total-white", "total-brown"):
        values = [opacity if finding.id == "opacity" else None for finding in rulebook.vocabulary.findings]
        assert truth_in(rulebook, values, "caution:tense-or-slack-unknown") is (opacity == "total-white")
        assert truth_in(broken_rulebook, values, "caution:tense-or-slack-unknown") is False


def truth_in(rulebook: Rulebook, values: list[Any], name: str) -> Truth:
    made = assessor(rulebook).compiled
    truths, _ = made.core(values)
    options = made.options(values, truths)
    everything = (*truths, *options, *made.rest(values, truths, options))
    return dict(zip(made.conditions, everything, strict=True))[name]


@pytest.mark.long
def test_a_factor_that_always_holds_is_found(tmp_path: Path) -> None:
    edit = Edit(PATIENT, "{finding: age_years, at_least: 80}", "{finding: age_years, at_least: 18}")
    rulebook, claim = refuted(tmp_path, "no-factor-always", edit)
    [example] = claim.counter_examples
    assert "older-age" in example.says
    made = assessor(rulebook).compiled
    ages = made.cells[made.index["age_years"]]
    values = [[age if f.id == "age_years" else None for f in rulebook.vocabulary.findings] for age in ages]
    assert [truth_in(rulebook, each, "factor:older-age") for each in values] == [True] * len(ages)


# -- every choice decides itself ----------------------------------------------------------------------------------


def test_a_choice_that_nothing_wins_is_found(tmp_path: Path) -> None:
    edit = Edit(
        "choices/antisepsis.yaml",
        "{finding: iodine_allergy, is: yes}",
        "{all: [{finding: iodine_allergy, is: yes}, {finding: latex_allergy, is: no}]}",
    )
    rulebook, claim = refuted(tmp_path, "one-winner", edit)
    [example] = claim.counter_examples
    assert example.case["findings"]["iodine_allergy"] == example.case["findings"]["latex_allergy"] == "yes"
    assert possible_winners(picture_of(example, rulebook), rulebook.choices["antisepsis"]) == []


UNORDERED = Edit("choices/pressure-after.yaml", "outranks: [routine]", "outranks: []")


def test_a_choice_that_two_options_win_is_found(tmp_path: Path) -> None:
    rulebook, claim = refuted(tmp_path, "one-winner", UNORDERED)
    [first, *_] = claim.counter_examples
    winners = possible_winners(picture_of(first, rulebook), rulebook.choices["pressure-after"])
    assert len(winners) == 2 and all(winner.id in first.says for winner in winners)


def test_options_that_nothing_orders_are_found(tmp_path: Path) -> None:
    _, claim = refuted(tmp_path, "options-ordered", UNORDERED)
    assert any("same-day" in example.says and "routine" in example.says for example in claim.counter_examples)


def test_a_winner_that_is_withheld_is_found(rulebook: Rulebook) -> None:
    # No text does this, since the engine takes every withhold into what an option needs; so the fault is put there.
    forgetful = replace(rulebook)
    name = "antisepsis.povidone-iodine"
    forgetful.__dict__["eligible"] = {**rulebook.eligible, name: ALWAYS}
    forgetful.__dict__["outranking"] = {**rulebook.outranking, name: []}
    claim = choosing.winner_not_withheld(Bench(forgetful))
    [example] = claim.counter_examples
    picture = picture_of(example, forgetful)
    assert picture.truth(f"option:{name}") and picture.truth("rule:iodine-changes-the-antiseptic")


# -- what is withheld ---------------------------------------------------------------------------------------------


def test_a_drug_that_is_barred_with_nothing_instead_is_found(tmp_path: Path) -> None:
    edit = Edit(
        "kit.yaml",
        "instead: an alpha-agonist drop and mechanical measures",
        "instead: ' '",
        after="it is a sulphonamide",
    )
    rulebook, claim = refuted(tmp_path, "drug-has-instead", edit)
    [example] = claim.counter_examples
    plan = plan_of(example, rulebook)
    [drug] = [drug for drug in plan.drugs if drug.id == "acetazolamide"]
    assert drug.state == "withheld" and "sulphonamide allergy" in drug.reasons
    assert not any(instead.strip() for instead in drug.instead)
    assert plan.assessment.readiness.state == "ready"


def test_a_drug_barred_only_where_the_case_settles_first_needs_nothing_instead(tmp_path: Path) -> None:
    # Steroid drops are barred by an active infection, which is itself a reason not to operate.
    edit = Edit("kit.yaml", "instead: treat the infection first", "instead: ' '", after="steroid-drops-infection")
    [claim] = prove(load(broken(tmp_path, edit)), only=["drug-has-instead"]).claims
    assert claim.state == "proved"


def test_a_withhold_of_what_is_asked_for_with_nothing_instead_is_found(tmp_path: Path) -> None:
    said = "aqueous chlorhexidine 0.05 % by unit policy, rinsed; never alcoholic"
    rulebook, claim = refuted(tmp_path, "required-has-instead", Edit("interactions.yaml", said, "' '"))
    [example] = claim.counter_examples
    plan = plan_of(example, rulebook)
    [rule] = [rule for rule in plan.rules if rule.id == "iodine-changes-the-antiseptic"]
    assert rule.certain and not (rule.instead or "").strip()
    assert plan.assessment.readiness.state == "ready"


# -- worse is never better ----------------------------------------------------------------------------------------


def test_points_that_fall_as_a_finding_worsens_are_found(tmp_path: Path) -> None:
    edit = Edit("factors/history.yaml", "injections, at_least: 1}", "injections, at_least: 1, at_most: 9}")
    rulebook, claim = refuted(tmp_path, "worse-points", edit)
    [example] = claim.counter_examples
    before, after = assess(as_filed(example, rulebook), rulebook), assess(made_worse(example, rulebook), rulebook)
    assert float(example.then["intravitreal_injections"] or 0) > 9 >= before.case.findings["intravitreal_injections"]
    assert after.points.most < before.points.least


def test_a_tier_that_falls_as_a_finding_worsens_is_found(tmp_path: Path) -> None:
    # The floor of a wide gap is lost where the gap is wider still.
    edit = Edit(
        PUPIL,
        "zonule_loss_clock_hours, at_least: 3}",
        "zonule_loss_clock_hours, at_least: 3, at_most: 4}",
    )
    rulebook, claim = refuted(tmp_path, "worse-tier", edit)
    for example in claim.counter_examples:
        before, after = assess(as_filed(example, rulebook), rulebook), assess(made_worse(example, rulebook), rulebook)
        assert after.tier.most < before.tier.least


LOOSER = {
    "a matrix that is looser at the top tier": Edit(
        "supervision.yaml",
        "independent: {mode: consultant-operates, by: consultant}",
        "independent: {mode: in-theatre, by: consultant}",
    ),
    "an override for the patient who agreed": Edit(
        "supervision.yaml",
        "{finding: trainee_involvement_agreed, is: no}",
        "{finding: trainee_involvement_agreed, is: yes}",
    ),
    "an override that is lost as the lens hardens": Edit(
        "supervision.yaml",
        "{finding: trainee_involvement_agreed, is: no}",
        "{finding: nuclear_opalescence_locs3, at_least: 3, less_than: 4}",
    ),
}


@pytest.mark.parametrize("fault", one_in(3, LOOSER))
def test_supervision_that_loosens_as_a_finding_worsens_is_found(tmp_path: Path, fault: str) -> None:
    rulebook, claim = refuted(tmp_path, "worse-supervision", LOOSER[fault])
    for example in claim.counter_examples:
        stage = next(stage for stage in STAGES if f"the stage {stage} " in example.says)
        before, after = (
            make_plan(assess(case, rulebook), rulebook, stage=stage).supervision
            for case in (as_filed(example, rulebook), made_worse(example, rulebook))
        )
        looser = MODES.index(after.mode) < MODES.index(before.mode)
        assert looser or (before.by, after.by) == ("consultant", "trainer")


def test_what_no_longer_applies_as_a_finding_worsens_and_took_points_with_it_is_found(tmp_path: Path) -> None:
    # Not asked beyond an age, and heavy: known to be older, the eye at its worst would be milder.
    edit = Edit(PATIENT, "when: {finding: severe_anxiety, is: yes}", "when: {finding: pregnancy, is: yes}")
    rulebook, claim = refuted(tmp_path, "worse-points", edit)
    [example] = claim.counter_examples
    before, after = as_filed(example, rulebook), made_worse(example, rulebook)
    assert before.findings["pregnancy"] is True and "pregnancy" not in after.findings
    assert before.findings["age_years"] <= 60 < after.findings["age_years"]
    unknown = [assess(case.with_finding("pregnancy", None), rulebook).points.most for case in (before, after)]
    assert unknown[1] < unknown[0]


# -- the plain eye ------------------------------------------------------------------------------------------------

NOT_MILDEST = {
    "points": Edit("findings.yaml", "    plain: 7\n", "    plain: 4\n", after="id: dilated_pupil_mm"),
    "log odds": Edit("findings.yaml", "    plain: female\n", "    plain: male\n"),
    "supervision": Edit("findings.yaml", "    plain: yes\n", "    plain: no\n", after="id: trainee_involvement_agreed"),
}


@pytest.mark.parametrize("what", one_in(3, NOT_MILDEST))
def test_a_plain_value_that_is_not_the_mildest_is_found(tmp_path: Path, what: str) -> None:
    rulebook, claim = refuted(tmp_path, "plain-least", NOT_MILDEST[what])
    examples = [example for example in claim.counter_examples if f"lowers the {what}" in example.says]
    assert examples and all("taken from its plain value" in example.says for example in examples)
    for example in examples:
        [name] = [name for name in example.then if name in example.says]
        before, after = as_filed(example, rulebook), made_worse(example, rulebook)
        assert before.findings[name] == rulebook.vocabulary.by_id[name].plain_value != after.findings[name]
        open_case = assess(before.with_finding(name, None), rulebook)
        if what == "points":
            assert open_case.points.on_record is not None and open_case.points.on_record > open_case.points.least
        elif what == "log odds":
            log_odds = assessor(rulebook).objectives.totals["log-odds"]
            values = [case.values(rulebook.vocabulary) for case in (before, after)]
            plain, other = (assessor(rulebook).ends(each, log_odds)[0].value for each in values)
            assert other < plain
        else:
            plans = [make_plan(assess(case, rulebook), rulebook, stage="late").supervision for case in (before, after)]
            assert MODES.index(plans[1].mode) < MODES.index(plans[0].mode)


# -- impossible pairs ---------------------------------------------------------------------------------------------


def impossible(first: str, second: str) -> Edit:
    tests = f"{{all: [{{finding: {first}}}, {{finding: {second}}}]}}"
    pair = f"  - id: deliberate-fault\n    when: {tests}\n    because: a deliberate fault\n"
    return Edit("findings.yaml", "impossible_together:\n", f"impossible_together:\n{pair}")


def test_a_pair_that_lets_a_worse_record_lower_the_worst_is_found(tmp_path: Path) -> None:
    # Restless, the patient could have no loose lens: so the worst of an eye not looked at would be milder.
    rulebook, claim = refuted(tmp_path, "pairs-mend", impossible("keeps_still, is: no", "phacodonesis, is: yes"))
    assert any("keeps_still made worse, no, meets deliberate-fault" in e.says for e in claim.counter_examples)
    case = plain_eye(rulebook, phacodonesis="not-recorded")
    still, restless = (assess(case.with_finding("keeps_still", value), rulebook).tier for value in (True, False))
    assert restless.most < still.most


def test_a_pair_that_lets_a_worse_record_lower_the_reading_on_record_is_found(tmp_path: Path) -> None:
    # A lens that is not loose would need a restless patient: so a loose one, recorded, brings the points down.
    edits = impossible("severe_anxiety, is: no", "keeps_still, is: yes")
    rulebook, claim = refuted(tmp_path, "pairs-mend", edits)
    assert any("severe_anxiety made milder, no, meets deliberate-fault" in e.says for e in claim.counter_examples)
    case = plain_eye(rulebook, severe_anxiety="yes", keeps_still="not-recorded")
    calm, anxious = (assess(case.with_finding("severe_anxiety", value), rulebook).points for value in (False, True))
    assert anxious.on_record is not None and calm.on_record is not None and anxious.on_record < calm.on_record


def test_plain_values_that_cannot_stand_together_are_found(tmp_path: Path) -> None:
    # Mended by the first of the two, which costs more than the other.
    rulebook, claim = refuted(tmp_path, "pairs-mend", impossible("keeps_still, is: yes", "nystagmus, is: no"))
    assert any("keeps_still, nystagmus not recorded, the plain eye has" in e.says for e in claim.counter_examples)
    blank = {"keeps_still": "not-recorded", "nystagmus": "not-recorded"}
    case = plain_eye(rulebook, **blank)
    points = assess(case, rulebook).points
    assert points.on_record is not None and points.on_record > points.least


# -- tables -------------------------------------------------------------------------------------------------------


def test_a_harder_tier_with_less_supervision_is_found(tmp_path: Path) -> None:
    fault = LOOSER["a matrix that is looser at the top tier"]
    rulebook, claim = refuted(tmp_path, "supervision-rises", fault)
    assert any(
        "tier 4, independent: supervised from further away than tier 3" in e.says for e in claim.counter_examples
    )
    matrix = rulebook.supervision.matrix
    assert MODES.index(matrix[4]["independent"].mode) < MODES.index(matrix[3]["independent"].mode)


def test_a_more_senior_stage_with_more_supervision_is_found(tmp_path: Path) -> None:
    edit = Edit("supervision.yaml", "late: {mode: on-site, by: trainer}", "late: {mode: scrubbed, by: trainer}")
    _, claim = refuted(tmp_path, "supervision-rises", edit)
    assert any("tier 1, late: supervised from closer than middle" in e.says for e in claim.counter_examples)


@pytest.mark.parametrize(("span", "end"), [("[100, 189]", 189), ("[100, 249]", 249)])
def test_stages_that_do_not_meet_are_found(tmp_path: Path, span: str, end: int) -> None:
    _, claim = refuted(tmp_path, "bands-meet", Edit("stages.yaml", "[100, 199]", span))
    [example] = claim.counter_examples
    assert f"starts at 200 whole operations, middle ends at {end}" in example.says


@pytest.mark.parametrize(
    ("old", "new"), [("tier: 3, at_least: 4,", "tier: 3, at_least: 2,"), ("at_least: 0,", "at_least: 1,")]
)
def test_bands_that_do_not_rise_from_nothing_do_not_even_load(tmp_path: Path, old: str, new: str) -> None:
    with pytest.raises(PlannerError, match=r"tiers\.yaml:\d+"):
        load(broken(tmp_path, Edit("tiers.yaml", old, new, after="points_bands")))


def test_levels_that_overlap_are_found(tmp_path: Path) -> None:
    edit = Edit("models/narendran-2009.yaml", "at_least: 60, less_than: 70", "at_least: 60, at_most: 70")
    rulebook, claim = refuted(tmp_path, "levels-apart", edit)
    [example] = claim.counter_examples
    picture = picture_of(example, rulebook)
    both = [picture.truth(f"level:age:{n}") for n in (0, 1)]
    assert both == [True, True] and example.case["findings"]["age_years"] == "70"


def test_rows_of_a_sulcus_table_that_overlap_are_found(tmp_path: Path) -> None:
    edit = Edit("lens.yaml", "{more_than: 25, change", "{at_least: 25, change")
    rulebook, claim = refuted(tmp_path, "sulcus-rows-apart", edit)
    [example] = claim.counter_examples
    power = as_filed(example, rulebook).findings["lens_power_d"]
    table = next(table for table in rulebook.lens.sulcus_tables if table.id == "dubey-2012")
    upside_down = table.model_copy(update={"bands": table.bands[::-1]})
    changes = [sulcus_change(each, power) for each in (table, upside_down)]
    assert changes[0] is not None and changes[0] != changes[1]
