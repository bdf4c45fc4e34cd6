"""Caution where it belongs: ordinary eyes, each with one frightening thing, recorded and then not recorded.

Expectations are a consultant's, written before the program had run on them (tests/eyes/frightening.yaml). None is tier
1 and ready. With the finding taken away none is tier 1 until it is known, and no step of the technique on record stands
ungated that the finding would have changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from ordinary_eyes import gates, made, read, recorded, told

from planner.assess.assess import assess
from planner.assess.assessment import Assessment
from planner.case import Case
from planner.errors import PlannerError
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook

FRIGHTENING: dict[str, dict[str, Any]] = told("frightening")["eyes"]
NAMES = list(FRIGHTENING)
# Not of the eye: they bar a drug or ask for kit, and move neither the tier nor the day.
OF_THE_EYE = [name for name in NAMES if not {"drug", "kit"} & set(FRIGHTENING[name])]
MADE = 200
WHITE = {"opacity": "total-white", "cortex": "firm", "red_reflex": "none", "fundus_view": "hazy"}


def bases(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The ordinary eyes that a frightening finding is put into: one of the ten, and a few of those made from seeds."""
    yield "O-5", recorded("O-5", "clinic")
    for seed in range(NAMES.index(name), MADE, len(NAMES)):
        yield f"seed {seed}", made(seed)


def with_it(name: str, raw: dict[str, Any], rulebook: Rulebook) -> Case:
    entry = FRIGHTENING[name]
    return read(raw, rulebook, **entry.get("given", {}), **entry["finding"])


def without_it(name: str, raw: dict[str, Any], rulebook: Rulebook) -> Case:
    """The same eye with the frightening finding not recorded, and its section not vouching for it."""
    entry = FRIGHTENING[name]
    case = read(raw, rulebook, **entry.get("given", {}), **dict.fromkeys(entry["finding"], "not-recorded"))
    assert not set(entry["finding"]) & set(case.in_force)
    return case


def assert_ready_only_above_tier_1(assessment: Assessment, eye: str) -> None:
    both = (assessment.tier.working, assessment.readiness.state)
    assert both != (1, "ready"), (eye, [factor.id for factor in assessment.factors if factor.state == "holds"])


def readiness(assessment: Assessment, rulebook: Rulebook) -> str:
    """The state, which plan and assessment must agree on."""
    state = make_plan(assessment, rulebook).assessment.readiness.state
    assert assessment.readiness.state == state
    return state


# -- recorded ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_eye_is_ordinary_but_for_what_is_written(rulebook: Rulebook, name: str) -> None:
    """Without any of it, tier 1 and ready: whatever is found below comes of the one finding and what goes with it."""
    for eye, raw in bases(name):
        assessment = assess(read(raw, rulebook), rulebook)
        assert (assessment.tier.working, assessment.readiness.state) == (1, "ready"), eye


@pytest.mark.parametrize("name", OF_THE_EYE)
def test_none_is_tier_1_and_ready(rulebook: Rulebook, name: str) -> None:
    for eye, raw in bases(name):
        assert_ready_only_above_tier_1(assess(with_it(name, raw, rulebook), rulebook), eye)


@pytest.mark.parametrize("name", [name for name in NAMES if {"tier", "exactly"} & set(FRIGHTENING[name])])
def test_recorded_it_has_its_tier_in_both_readings(rulebook: Rulebook, name: str) -> None:
    entry = FRIGHTENING[name]
    for eye, raw in bases(name):
        tier = assess(with_it(name, raw, rulebook), rulebook).tier
        at_least = int(entry.get("tier", entry.get("exactly")))
        assert tier.on_record is not None and tier.working >= tier.on_record >= at_least, (eye, tier)
        if "exactly" in entry:
            assert (tier.on_record, tier.working) == (at_least, at_least), (eye, tier)


@pytest.mark.parametrize("name", [name for name in NAMES if "readiness" in FRIGHTENING[name]])
def test_recorded_it_is_settled_first(rulebook: Rulebook, name: str) -> None:
    for eye, raw in bases(name):
        assessment = assess(with_it(name, raw, rulebook), rulebook)
        assert readiness(assessment, rulebook) == FRIGHTENING[name]["readiness"], eye
        assert any(reason.certain for reason in assessment.readiness.because), (eye, assessment.readiness.because)


@pytest.mark.parametrize("name", [name for name in NAMES if "choices" in FRIGHTENING[name]])
def test_recorded_it_changes_what_is_done(rulebook: Rulebook, name: str) -> None:
    for eye, raw in bases(name):
        plan = make_plan(assess(with_it(name, raw, rulebook), rulebook), rulebook)
        for choice, barred in FRIGHTENING[name]["choices"].items():
            known = {option.id for option in rulebook.choices[choice].options}
            assert set(barred) <= known, f"{choice} has no option {set(barred) - known}"
            assert plan.choices[choice].option not in barred, (eye, choice)


@pytest.mark.parametrize("name", [name for name in NAMES if "drug" in FRIGHTENING[name]])
def test_what_it_bars_is_given_neither_recorded_nor_unknown(rulebook: Rulebook, name: str) -> None:
    """And is given where the allergy was asked for and is not there, or this would show nothing."""
    drug, barred_by = FRIGHTENING[name]["drug"], dict.fromkeys(FRIGHTENING[name]["finding"], "no")
    assert drug in {known.id for known in rulebook.kit.drugs}
    raw = recorded("O-5", "clinic")
    barred, unknown, clear = (
        {given.id: given.state for given in make_plan(assess(case, rulebook), rulebook).drugs}
        for case in (
            with_it(name, raw, rulebook),
            without_it(name, raw, rulebook),
            read(raw, rulebook, **FRIGHTENING[name].get("given", {}), **barred_by),
        )
    )
    assert barred.get(drug, "withheld") == "withheld"
    assert unknown.get(drug, "not-until-checked") == "not-until-checked"
    assert clear[drug] == "as-prescribed"


@pytest.mark.parametrize("name", [name for name in NAMES if "kit" in FRIGHTENING[name]])
def test_what_it_asks_for_is_in_the_room(rulebook: Rulebook, name: str) -> None:
    for eye, raw in bases(name):
        plan = make_plan(assess(with_it(name, raw, rulebook), rulebook), rulebook)
        assert FRIGHTENING[name]["kit"] in {item.id for item in plan.kit if item.need != "preferred"}, eye


@pytest.mark.parametrize("stage", ["early", "middle", "late", "independent"])
@pytest.mark.parametrize("name", [name for name in OF_THE_EYE if FRIGHTENING[name].get("tier") == "4"])
def test_tier_4_is_the_consultants_whoever_was_listed(rulebook: Rulebook, name: str, stage: str) -> None:
    assessment = assess(with_it(name, recorded("O-5", "clinic"), rulebook), rulebook)
    plan = make_plan(assessment, rulebook, None, stage)  # type: ignore[arg-type]
    assert (plan.supervision.mode, plan.supervision.by) == ("consultant-operates", "consultant")
    assert any(step.who == "supervisor" for step in plan.steps)


# -- not recorded -----------------------------------------------------------------------------------------------------

ASKED = [name for name in OF_THE_EYE if FRIGHTENING[name].get("not_asked") != "yes"]


@pytest.mark.parametrize("name", [name for name in ASKED if {"tier", "exactly"} & set(FRIGHTENING[name])])
def test_not_recorded_it_is_worked_to_at_its_tier(rulebook: Rulebook, name: str) -> None:
    entry = FRIGHTENING[name]
    at_least = int(entry.get("tier", entry.get("exactly")))
    for eye, raw in bases(name):
        assessment = assess(without_it(name, raw, rulebook), rulebook)
        assert assessment.tier.working >= at_least > 1, (eye, assessment.tier)
        assert set(entry["finding"]) & {missing.finding for missing in assessment.missing}, (eye, assessment.missing)


@pytest.mark.parametrize("name", [name for name in ASKED if "not_ready_at_tier_1" in FRIGHTENING[name]])
def test_not_recorded_it_is_no_all_clear(rulebook: Rulebook, name: str) -> None:
    for eye, raw in bases(name):
        assert_ready_only_above_tier_1(assess(without_it(name, raw, rulebook), rulebook), eye)


@pytest.mark.parametrize("name", [name for name in NAMES if FRIGHTENING[name].get("settled_by_unknown") == "yes"])
def test_not_recorded_it_is_settled_first(rulebook: Rulebook, name: str) -> None:
    """And what readiness demands is also named among what is missing."""
    for eye, raw in bases(name):
        assessment = assess(without_it(name, raw, rulebook), rulebook)
        assert readiness(assessment, rulebook) == "settle-first", eye
        assert set(FRIGHTENING[name]["finding"]) & {missing.finding for missing in assessment.missing}, eye


def test_what_no_clinic_asks_for_without_a_reason_is_not_asked(rulebook: Rulebook) -> None:
    """A cell count of an ordinary eye: recorded it counts, not recorded it is no hazard."""
    for name in (name for name in NAMES if FRIGHTENING[name].get("not_asked") == "yes"):
        for eye, raw in bases(name):
            assessment = assess(without_it(name, raw, rulebook), rulebook)
            assert (assessment.tier.working, assessment.readiness.state) == (1, "ready"), eye


def ungated(rulebook: Rulebook, found: Plan, unknown: Plan, findings: set[str]) -> dict[str, Any]:
    """Choices written otherwise than the finding would have them, with no gate that leads there or to what is safer."""
    wrong = {}
    for choice, written in unknown.choices.items():
        other = found.choices[choice].option
        safer = {name.split(".")[1] for name in rulebook.outranking[f"{choice}.{other}"]}
        leads_to = {option for finding, option in gates(written) if finding in findings}
        if not {written.option, *leads_to} & {other, *safer}:
            wrong[choice] = (written.option, other, written.if_found)
    return wrong


@pytest.mark.parametrize("name", [name for name in NAMES if FRIGHTENING[name].get("not_asked") != "yes"])
def test_not_recorded_no_step_stands_ungated_that_it_would_change(rulebook: Rulebook, name: str) -> None:
    entry = FRIGHTENING[name]
    for eye, raw in bases(name):
        found, unknown = (
            make_plan(assess(case, rulebook), rulebook)
            for case in (with_it(name, raw, rulebook), without_it(name, raw, rulebook))
        )
        if unknown.assessment.tier.on_record is None:
            continue  # too little recorded to write a technique
        states = {drug.id: drug.state for drug in unknown.drugs}
        held = "drug" in entry and states.get(entry["drug"]) == "not-until-checked"
        wrong = {} if held else ungated(rulebook, found, unknown, set(entry["finding"]))
        assert not wrong, eye


@pytest.mark.parametrize("name", ["very-short", "very-shallow", "pressure-44"])
def test_without_what_a_technique_rests_on_none_is_written(rulebook: Rulebook, name: str) -> None:
    assert assess(without_it(name, recorded("O-5", "clinic"), rulebook), rulebook).tier.on_record is None


@pytest.mark.parametrize("finding", ["age_years", "opacity"])
def test_nor_without_age_or_opacity(rulebook: Rulebook, finding: str) -> None:
    case = read(recorded("O-5", "clinic"), rulebook, **{finding: "not-recorded"})
    assert assess(case, rulebook).tier.on_record is None


def test_a_blank_case_is_never_tier_1(rulebook: Rulebook) -> None:
    blank = {"case": "T-0", "eye": "left", "none_found_in": [], "findings": {}}
    assessment = assess(read(blank, rulebook), rulebook)
    assert assessment.tier.on_record is None and assessment.tier.working == 4
    assert assessment.readiness.state == "settle-first"


def test_the_list_of_frightening_eyes_is_not_shortened() -> None:
    """So many of each tier, and of what is settled first: a deleted line of the data is not one test fewer."""
    by_tier = {
        tier: {name for name in NAMES if FRIGHTENING[name].get("tier", FRIGHTENING[name].get("exactly")) == tier}
        for tier in "234"
    }
    assert len(by_tier["4"]) >= 15 and len(by_tier["3"]) >= 8 and len(by_tier["2"]) >= 7, by_tier
    assert sum("readiness" in FRIGHTENING[name] for name in NAMES) >= 12


def test_every_floor_of_the_rulebook_is_among_them(rulebook: Rulebook) -> None:
    """A floor that is added to the rulebook is added here, or nobody has tried it."""
    met: set[str] = set()
    for name in NAMES:
        assessment = assess(with_it(name, recorded("O-5", "clinic"), rulebook), rulebook)
        met |= {factor.id for factor in assessment.factors if factor.state == "holds" and factor.floor}
    assert {factor.id for factor in rulebook.factors.values() if factor.floor} <= met


# -- who it is not for ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("age", ["0", "5", "12", "17"])
def test_under_18_is_refused_with_where_to_go(rulebook: Rulebook, age: str) -> None:
    with pytest.raises(PlannerError) as refused:
        read(recorded("O-5", "clinic"), rulebook, age_years=age)
    said = str(refused.value).lower()
    assert "adults" in said and "paediatric" in said and "slip" not in said


def test_18_is_an_adult(rulebook: Rulebook) -> None:
    assert assess(read(recorded("O-5", "clinic"), rulebook, age_years="18"), rulebook).tier.on_record is not None


# -- what could not be seen -------------------------------------------------------------------------------------------

# What hides, the findings it hides, and what they are when somebody did see them (an earlier letter, a scan).
BACK = {"posterior_polar_opacity": "no", "posterior_capsule_plaque": "no"}
HIDDEN = {
    "white lens": (WHITE, BACK),
    "brown lens": (
        {"opacity": "total-brown", "nucleus_hardness": "brown", "red_reflex": "poor", "fundus_view": "hazy",
         "endothelial_cells_per_mm2": "2300"},
        BACK,
    ),
    "small pupil": ({"dilated_pupil_mm": "3.9"}, {"pseudoexfoliation": "no", "zonule_loss_clock_hours": "0"}),
    "pupil not measured": (
        {"dilated_pupil_mm": "not-recorded"}, {"pseudoexfoliation": "no", "zonule_loss_clock_hours": "0"},
    ),
    "opaque cornea": ({"corneal_opacity": "yes"}, {"guttata": "no"}),
    "cornea not looked at": ({"corneal_opacity": "not-recorded"}, {"guttata": "no"}),
}  # fmt: skip


def reading(rulebook: Rulebook, **findings: str) -> dict[str, Any]:
    assessment = assess(read(recorded("O-5", "clinic"), rulebook, **findings), rulebook)
    plan = make_plan(assessment, rulebook)
    return {
        "tier": assessment.tier,
        "points": assessment.points,
        "states": {factor.id: factor.state for factor in assessment.factors},
        "missing": {missing.finding for missing in assessment.missing},
        "choices": {choice: (chosen.option, chosen.if_found) for choice, chosen in plan.choices.items()},
        "readiness": {reason.id for reason in assessment.readiness.because},
    }


@pytest.mark.parametrize("what", HIDDEN)
def test_a_section_looked_through_vouches_for_nothing_that_could_not_be_seen(rulebook: Rulebook, what: str) -> None:
    """Looked through is the same as not recorded; recorded by name, with its reason elsewhere, is not."""
    hides, hidden = HIDDEN[what]
    looked_through = reading(rulebook, **hides)
    assert looked_through == reading(rulebook, **hides, **dict.fromkeys(hidden, "not-recorded"))
    assert looked_through != reading(rulebook, **hides, **hidden)


@pytest.mark.parametrize("what", HIDDEN)
def test_each_hidden_finding_counts_by_itself(rulebook: Rulebook, what: str) -> None:
    """Of two that are hidden, recording one does not open the other."""
    hides, hidden = HIDDEN[what]
    for name in hidden:
        others = {other: value for other, value in hidden.items() if other != name}
        unknown = {**hides, **others, name: "not-recorded"}
        assert reading(rulebook, **hides, **others) == reading(rulebook, **unknown), name


def test_behind_a_white_lens_polar_opacity_and_plaque_stay_unknown(rulebook: Rulebook) -> None:
    met = reading(rulebook, **WHITE)
    assert met["states"]["posterior-polar-opacity"] == "unknown"
    assert met["states"]["posterior-capsule-plaque"] == "unknown"
    assert "posterior_polar_opacity" in met["missing"]
    assert met["tier"].on_record == 2 and met["tier"].working == 4
    # Nobody operates on every white lens as if its back were open: it stands as a gate for when it comes into view.
    plan = make_plan(assess(read(recorded("O-5", "clinic"), rulebook, **WHITE), rulebook), rulebook)
    hydro = plan.choices["hydro"]
    gated = {(finding, gate.option) for gate in hydro.if_found for finding in gate.findings}
    assert hydro.option != "full-hydro" and ("posterior_polar_opacity", "delineation-only") in gated


def test_an_earlier_letter_closes_what_the_white_lens_hides(rulebook: Rulebook) -> None:
    tier = reading(rulebook, **WHITE, **BACK, endothelial_cells_per_mm2="2300")["tier"]
    assert (tier.on_record, tier.working) == (2, 2), tier


@pytest.mark.parametrize(("pupil", "seen"), [("3.9", False), ("4", True), ("4.1", True)])
def test_behind_a_pupil_below_4_mm_gap_and_exfoliation_stay_unknown(rulebook: Rulebook, pupil: str, seen: bool) -> None:
    states = reading(rulebook, dilated_pupil_mm=pupil)["states"]
    wanted = "does-not-hold" if seen else "unknown"
    assert (states["pseudoexfoliation"], states["zonule-loss"]) == (wanted, wanted)


@pytest.mark.parametrize(
    ("cornea", "state"), [("yes", "unknown"), ("no", "does-not-hold"), ("not-recorded", "unknown")]
)
def test_behind_an_opaque_cornea_guttata_stay_unknown(rulebook: Rulebook, cornea: str, state: str) -> None:
    assert reading(rulebook, corneal_opacity=cornea)["states"]["guttata"] == state


@pytest.mark.parametrize("hides", [{"fundus_view": "none", "posterior_segment_ultrasound": "normal"}, WHITE])
def test_a_fundus_that_was_not_seen_is_not_vouched_for(rulebook: Rulebook, hides: dict[str, str]) -> None:
    unseen = {"diabetic_retinopathy": "not-recorded", "macular_oedema": "not-recorded"}
    met = reading(rulebook, **hides, diabetes="yes")
    assert met == reading(rulebook, **hides, diabetes="yes", **unseen)
    assert met["states"]["diabetic-retinopathy"] == "unknown"
