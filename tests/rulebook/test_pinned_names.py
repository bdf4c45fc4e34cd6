"""The names that case files, exports and outside checks rely on: none is dropped or renamed, others may be added."""

from __future__ import annotations

import re

import pytest

from planner.case import STAGES
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES

# By section; yes-no unless a kind is given: (a | b) one of, {a, b} any of, # a number, n a count, date, text.
FINDINGS = {
    "patient": """age_years #, sex (female | male), only_seeing_eye, can_lie_flat, keeps_still, severe_anxiety,
        communication_barrier, trainee_involvement_agreed, consent_to_surgery, diabetes, heart_failure,
        unstable_heart_or_pressure, renal_impairment (none | moderate | severe-or-anuric), hepatic_impairment,
        low_potassium_or_sodium, adrenal_failure, sickle_disease, dehydration, pregnancy,
        alpha_blocker_ever {tamsulosin, doxazosin, alfuzosin, terazosin, other},
        anticoagulant {antiplatelet, warfarin, direct-oral}, inr #, inr_date date, infection_precautions""",
    "allergies": """sulphonamide_allergy, cephalosporin_allergy, penicillin_anaphylaxis, quinolone_allergy,
        iodine_allergy, latex_allergy, local_anaesthetic_allergy""",
    "history": """visual_acuity_logmar #, fellow_eye_complication, fellow_eye_polar_opacity,
        glaucoma (none | open-angle | angle-closure), glaucoma_advanced, steroid_responder,
        lens_induced_pressure (none | phacomorphic | phacolytic), previous_trabeculectomy, bleb_clock_hour #,
        laser_iridotomy, previous_vitrectomy, silicone_oil, intravitreal_injections n,
        previous_refractive_surgery (none | surface-or-flap | radial-keratotomy | phakic-lens),
        previous_corneal_graft, previous_blunt_trauma, uveitis (none | quiet | active), uveitis_quiet_months #,
        diabetic_retinopathy, iris_new_vessels, amblyopia, nystagmus, rapid_onset_white, other_surgical_difficulty""",
    "outer-eye": """deep_set_orbit, narrow_palpebral_aperture, active_blepharitis, active_eye_infection,
        corneal_opacity, guttata, endothelial_cells_per_mm2 #""",
    "pressure-and-chamber": """iop_mmhg #, iop_date date, anterior_chamber_depth_mm #,
        anterior_chamber_depth_from (epithelium | endothelium), axial_length_mm #, posterior_staphyloma,
        lens_thickness_mm #, spherical_equivalent_d #, vitreous_in_chamber""",
    "pupil-and-zonule": """dilated_pupil_mm #, posterior_synechiae, pseudoexfoliation, phacodonesis,
        lens_shifts_with_posture, zonule_loss_clock_hours #, zonule_loss_from_clock_hour #""",
    "lens": """opacity (partial | total-white | total-brown), cortex (firm | tense-fluid | slack-fluid),
        nuclear_opalescence_locs3 #, posterior_polar_opacity, polar_opacity_mm #, anterior_capsule_fibrosis,
        posterior_capsule_plaque""",
    "view": """red_reflex (good | poor | none), fundus_view (clear | hazy | none),
        posterior_segment_ultrasound (normal | abnormal), relative_afferent_pupillary_defect""",
    "plan": """anaesthesia_requested (topical | sub-tenon | peribulbar | general), lens_power_d #,
        backup_lens_power_d #, biometry_reference text, biometry_date date,
        planned_lens_material (hydrophobic-acrylic | hydrophilic-acrylic | silicone | other),
        urgency (routine | soon | urgent), needed_by date""",
}
KINDS = {"#": "number", "n": "count", "date": "date", "text": "text", "(": "choice", "{": "set", "": "yes-no"}
STEPS = """anaesthesia antisepsis-and-drape incisions dye ovd pupil capsule-opening hydro nucleus fragment-removal
    cortex lens ovd-removal wounds-and-pressure after"""
CHOICES = """anaesthesia antisepsis pressure-lowering incision pupil capsule-dye ovd capsule-opening hydro nucleus-route
    nucleus zonule-support lens-and-backup antibiotic pressure-after"""
DRILLS = """capsule-tear-running-out anterior-radial-tear posterior-capsule-rupture dropped-fragment zonular-dialysis
    iris-diaphragm-retropulsion capsular-block iris-prolapse suprachoroidal-haemorrhage wound-burn descemet-detachment
    orbital-haemorrhage globe-perforation collapse-or-anaphylaxis"""

PINNED = [
    (section, *found)
    for section, text in FINDINGS.items()
    for found in re.findall(r"(\w+)\s*(?:([#n]|date|text)(?=,|$)|([({])([^)}]*)[)}])?(?:,|$)", " ".join(text.split()))
]


def test_the_table_above_is_read_whole() -> None:
    assert len(PINNED) == 97
    assert {section for section, *_ in PINNED} == set(FINDINGS)


@pytest.mark.parametrize(("section", "name", "mark", "bracket", "values"), PINNED, ids=[row[1] for row in PINNED])
def test_a_pinned_finding(rulebook: Rulebook, section: str, name: str, mark: str, bracket: str, values: str) -> None:
    finding = rulebook.vocabulary.by_id[name]
    assert (finding.section, finding.kind) == (section, KINDS[mark or bracket])
    assert set(re.findall(r"[\w-]+", values)) <= set(finding.values)


def test_pinned_steps_choices_and_drills(rulebook: Rulebook) -> None:
    assert [step.id for step in rulebook.steps] == STEPS.split()
    assert set(CHOICES.split()) <= set(rulebook.choices)
    assert set(DRILLS.split()) <= set(rulebook.drills)


def test_pinned_stages_and_modes_in_their_order(rulebook: Rulebook) -> None:
    assert STAGES == ("steps-only", "early", "middle", "late", "independent")
    assert MODES == ("on-site", "in-theatre", "scrubbed", "consultant-operates", "consultant-only")
    assert [stage.id for stage in rulebook.stages.stages] == list(STAGES)
    assert list(rulebook.supervision.modes) == list(MODES)
    assert set(rulebook.supervision.by) == {"trainer", "consultant"}


def test_operators_are_the_stages_that_operate_with_fellow_and_consultant(rulebook: Rulebook) -> None:
    # `steps-only` has no published odds.
    assert {operator.id for operator in rulebook.odds.operators} == {*STAGES[1:], "fellow", "consultant"}


def test_pinned_models(rulebook: Rulebook) -> None:
    assert rulebook.odds.id == "narendran-2009"
    assert [score.id for score in rulebook.scores] == ["han-2020", "muhtaseb-2004"]
