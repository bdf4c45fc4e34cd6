"""The technique that is written, against what a consultant would do: common practice, named here before it was run."""

from __future__ import annotations

import pytest
from plain_eye import SECTIONS

from planner.assess.assess import assess
from planner.case import read_case
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook

# A clinic letter: what it says, and nothing looked through.
LETTER = {
    "age_years": "74",
    "sex": "female",
    "visual_acuity": "6/18",
    "iop_mmhg": "15",
    "axial_length_mm": "23.5",
    "anterior_chamber_depth_mm": "3.1",
    "opacity": "partial",
    "fundus_view": "clear",
    "consent_to_surgery": "yes",
    "lens_power_d": "21",
    "anticoagulant": "none",
    "alpha_blocker_ever": "none",
}
EXAMINED = {**LETTER, "dilated_pupil_mm": "7", "red_reflex": "good", "nucleus_hardness": "medium"}
BLEB = {"glaucoma": "open-angle", "previous_trabeculectomy": "yes"}
DRUGS_BARRED = {"iop_mmhg": "34", "heart_failure": "yes", "sulphonamide_allergy": "yes"}


def plan_of(rulebook: Rulebook, findings: dict[str, str], eye: str = "right", looked: bool = True) -> Plan:
    raw = {"case": "T-1", "eye": eye, "none_found_in": SECTIONS if looked else [], "findings": findings}
    return make_plan(assess(read_case(raw, rulebook.vocabulary), rulebook), rulebook)


def options(plan: Plan) -> dict[str, str]:
    return {chosen.choice: chosen.option for chosen in plan.choices.values()}


def lines(plan: Plan, step: str) -> str:
    return " ".join(next(planned.do for planned in plan.steps if planned.id == step))


def test_a_bare_letter_gets_the_ordinary_operation(rulebook: Rulebook) -> None:
    ordinary = {
        "anaesthesia": "drops",
        "antisepsis": "povidone-iodine",
        "incision": "temporal",
        "capsule-dye": "no-dye",
        "pupil": "drops",
        "capsule-opening": "single-opening",
        "hydro": "full-hydro",
        "nucleus": "divide-or-chop",
        "nucleus-route": "ultrasound",
        "zonule-support": "none",
        "lens-and-backup": "bag-lens",
        "pressure-lowering": "nothing-needed",
    }
    found = options(plan_of(rulebook, LETTER, looked=False))
    assert {name: found[name] for name in ordinary} == ordinary
    # Nothing is drawn up while the allergies are not written.
    assert found["antibiotic"] == "none-intracameral"


def test_a_bare_letter_says_before_what_each_choice_may_change(rulebook: Rulebook) -> None:
    assert all(choice.before for choice in rulebook.choices.values())
    gates = plan_of(rulebook, LETTER, looked=False).choices["hydro"].if_found
    polar = [gate for gate in gates if "posterior_polar_opacity" in gate.findings]
    assert [gate.option for gate in polar] == ["delineation-only"]
    assert {gate.before for gate in gates} == {"Before any fluid"}


@pytest.mark.parametrize("asked", ["topical", "not-recorded"])
@pytest.mark.parametrize(
    "found",
    [
        {**BLEB, "bleb_clock_hour": "12"},
        {"glaucoma": "open-angle", "glaucoma_advanced": "yes"},
        {"iop_mmhg": "23"},
        {"anterior_chamber_depth_mm": "2.4"},
        {"anticoagulant": "warfarin", "inr": "4.6", **BLEB, "bleb_clock_hour": "12"},
    ],
    ids=["bleb", "advanced glaucoma", "23 mmHg", "2.4 mm", "INR 4.6 and a bleb"],
)
def test_nothing_that_forbids_volume_forces_a_block(rulebook: Rulebook, found: dict[str, str], asked: str) -> None:
    plan = plan_of(rulebook, {**EXAMINED, **found, "anaesthesia_requested": asked})
    assert options(plan)["anaesthesia"] == "drops"


def test_a_white_lens_alone_gets_no_block_for_an_orbit_nobody_recorded(rulebook: Rulebook) -> None:
    white = {"opacity": "total-white", "red_reflex": "none", "fundus_view": "none"}
    plan = plan_of(rulebook, {**LETTER, **white, "deep_set_orbit": "not-recorded"}, looked=False)
    assert options(plan)["anaesthesia"] == "low-volume-sub-tenon"


@pytest.mark.parametrize(
    ("mmhg", "option"),
    [
        ("22", "nothing-needed"),
        ("24", "nothing-needed"),
        ("25", "drops-and-recheck"),
        ("28", "lower-and-recheck"),
        ("30", "treat-first"),
    ],
)
def test_pressure_is_acted_on_from_25_and_stops_the_day_at_30(rulebook: Rulebook, mmhg: str, option: str) -> None:
    plan = plan_of(rulebook, {**EXAMINED, "iop_mmhg": mmhg})
    assert options(plan)["pressure-lowering"] == option
    assert ("acetazolamide" in lines(plan, "anaesthesia").lower()) is (float(mmhg) >= 28)


@pytest.mark.parametrize(("eye", "temporal", "nasal"), [("right", "9", "3"), ("left", "3", "9")])
def test_no_incision_goes_through_a_temporal_bleb_scar_or_gap(
    rulebook: Rulebook, eye: str, temporal: str, nasal: str
) -> None:
    # Clock hours as one faces the patient: temporal is 9 in a right eye, 3 in a left.
    for at, option, seat in ((temporal, "superior", "superior"), (nasal, None, "temporal")):
        placed = {
            "bleb": ({**BLEB, "bleb_clock_hour": at}, option or "clear-of-bleb"),
            "scar": ({"corneal_opacity": "yes", "corneal_scar_clock_hour": at}, option or "clear-sector"),
            "gap": (
                {"zonule_loss_clock_hours": "1", "zonule_loss_from_clock_hour": at},
                option or "away-from-dialysis",
            ),
        }
        for what, (findings, expected) in placed.items():
            chosen = plan_of(rulebook, {**EXAMINED, **findings}, eye).choices["incision"]
            assert chosen.option == expected, (what, at)
            assert chosen.way.seat == seat or (chosen.option == "clear-sector" and chosen.way.seat is None)
            assert chosen.way.main_incision != "temporal" or seat == "temporal"


def test_adhesions_are_freed_at_any_width_and_without_stretching_a_floppy_iris(rulebook: Rulebook) -> None:
    for width in ("4.5", "5.5", "7"):
        for taken in ("none", "tamsulosin"):
            findings = {"dilated_pupil_mm": width, "posterior_synechiae": "yes", "alpha_blocker_ever": taken}
            done = lines(plan_of(rulebook, {**EXAMINED, **findings}), "pupil")
            assert "synechiolysis" in done, (width, taken)
            assert taken == "none" or "stretched gently" not in done


def test_the_technique_follows_the_lens(rulebook: Rulebook) -> None:
    soft = plan_of(rulebook, {**EXAMINED, "nucleus_hardness": "soft"})
    assert options(soft)["nucleus"] == "aspirate-soft" and "Trench to" not in lines(soft, "nucleus")
    for opened in ({"intravitreal_injections": "1"}, {"penetrating_injury": "yes"}, {"visible_capsule_breach": "yes"}):
        assert options(plan_of(rulebook, {**EXAMINED, **opened}))["hydro"] in ("small-waves", "delineation-only")


def test_a_known_bar_is_printed_in_its_step_and_what_is_left_is_said(rulebook: Rulebook) -> None:
    done = lines(plan_of(rulebook, {**EXAMINED, **DRUGS_BARRED}), "anaesthesia")
    assert "Acetazolamide barred: sulphonamide allergy" in done and "Mannitol barred: heart failure" in done
    assert "What is left with both drugs barred" in done
    one_barred = {**EXAMINED, **DRUGS_BARRED, "heart_failure": "no"}
    assert "both drugs barred" not in lines(plan_of(rulebook, one_barred), "anaesthesia")


def test_no_line_leaves_a_bar_to_the_reader_and_each_option_begins_with_what_to_do(rulebook: Rulebook) -> None:
    # The usual route needs no line of its own: ultrasound is what the later steps say.
    nothing = [f"{c.id}.{o.id}" for c in rulebook.choices.values() for o in c.options if not o.do]
    assert nothing == ["nucleus-route.ultrasound"]
    for choice in rulebook.choices.values():
        for option in choice.options:
            assert not [line for line in option.do if "unless barred" in line or "if not barred" in line]


def test_steps_come_in_the_order_they_are_done(rulebook: Rulebook) -> None:
    white = {"opacity": "total-white", "cortex": "firm", "red_reflex": "none", "fundus_view": "hazy"}
    small = plan_of(rulebook, {**EXAMINED, **white, "dilated_pupil_mm": "4.5"})
    loose = plan_of(rulebook, {**EXAMINED, **white, "pseudoexfoliation": "yes"})
    numbers = {id_: {step.id: step.number for step in plan.steps} for id_, plan in (("small", small), ("loose", loose))}
    assert options(small)["capsule-dye"] == "dye-after-device" and numbers["small"]["pupil"] < numbers["small"]["dye"]
    assert options(loose)["capsule-dye"] == "least-dye-under-ovd" and numbers["loose"]["ovd"] < numbers["loose"]["dye"]
    for plan in (small, loose):
        assert "dilating drops" in lines(plan, "anaesthesia")
    assert "before any OVD" in lines(small, "incisions")


COMBINATION = "licensed intracameral combination"


@pytest.mark.parametrize(
    "found",
    [
        {"anterior_chamber_depth_mm": "2.4"},
        {"glaucoma": "angle-closure"},
        {"local_anaesthetic_allergy": "yes"},
        {"previous_corneal_graft": "yes"},
        {"guttata": "yes"},
        {"uveitis": "quiet", "uveitis_quiet_months": "12"},
        {"diabetes": "yes"},
        {"previous_blunt_trauma": "yes"},
    ],
    ids=lambda found: next(iter(found)),
)
def test_the_combination_is_offered_only_where_nothing_bars_it_or_warns(
    rulebook: Rulebook, found: dict[str, str]
) -> None:
    assert COMBINATION in lines(plan_of(rulebook, EXAMINED), "incisions")
    assert COMBINATION not in lines(plan_of(rulebook, {**EXAMINED, **found}), "incisions")


def test_a_working_bleb_is_rescued_without_conjunctiva_and_not_given_acetazolamide(rulebook: Rulebook) -> None:
    bleb = {**EXAMINED, **BLEB, "bleb_clock_hour": "12", "iop_mmhg": "12"}
    plan = plan_of(rulebook, bleb)
    step = next(step for step in plan.steps if step.id == "anaesthesia")
    assert "no conjunctiva is opened" in " ".join(step.do)
    assert "block" not in " ".join(pause.words for pause in step.pause_if)
    assert options(plan)["pressure-after"] == "same-day"
    assert "Acetazolamide at the end" not in lines(plan, "after")
    # A raised pressure is covered, bleb or not, and so is glaucoma without one.
    assert options(plan_of(rulebook, {**bleb, "iop_mmhg": "25"}))["pressure-after"] == "covered-and-same-day"
    unoperated = {**EXAMINED, "glaucoma": "open-angle"}
    assert options(plan_of(rulebook, unoperated))["pressure-after"] == "covered-and-same-day"


def test_thirty_mmhg_stops_and_only_a_lens_that_raised_it_has_an_exception(rulebook: Rulebook) -> None:
    def stops(findings: dict[str, str]) -> str:
        plan = plan_of(rulebook, {**EXAMINED, **findings})
        return " ".join(pause.words for step in plan.steps if step.id == "anaesthesia" for pause in step.pause_if)

    white = {"opacity": "total-white", "red_reflex": "none", "fundus_view": "none"}
    assert "do not open the eye" in stops({"iop_mmhg": "44"}) and "lens must come out" not in stops({"iop_mmhg": "44"})
    assert "lens must come out" in stops({**white, "iop_mmhg": "44", "lens_induced_pressure": "phacomorphic"})


def test_fragments_are_taken_at_one_height(rulebook: Rulebook) -> None:
    heights = {"Work at the iris plane", "beneath the iris plane", "no higher than the iris plane"}
    for found in (
        {},
        {"alpha_blocker_ever": "tamsulosin"},
        {"previous_corneal_graft": "yes"},
        {"endothelial_cells_per_mm2": "900", "pseudoexfoliation": "yes"},
        {"guttata": "yes", "posterior_polar_opacity": "yes"},
    ):
        done = lines(plan_of(rulebook, {**EXAMINED, **found}), "fragment-removal")
        assert sum(height in done for height in heights) == 1, (found, done)
    assert "Work at the iris plane" not in lines(plan_of(rulebook, {**EXAMINED, "guttata": "yes"}), "fragment-removal")


def test_a_quadrant_is_named_only_where_a_gap_is_recorded(rulebook: Rulebook) -> None:
    for found, named in (
        ({"pseudoexfoliation": "yes"}, False),
        ({"zonule_loss_clock_hours": "2", "zonule_loss_from_clock_hour": "4"}, True),
    ):
        plan = plan_of(rulebook, {**EXAMINED, **found})
        for step in ("cortex", "lens"):
            assert ("the gap" in lines(plan, step)) is named, (found, step)
        assert ("plug over the gap" in lines(plan, "ovd")) is named


def test_the_opening_stays_inside_a_pupil_hardly_wider_than_it(rulebook: Rulebook) -> None:
    for width, told in (("4.9", False), ("5.0", True), ("5.9", True), ("6.0", False)):
        done = lines(plan_of(rulebook, {**EXAMINED, "dilated_pupil_mm": width}), "capsule-opening")
        assert ("inside the pupil margin" in done) is told, width
