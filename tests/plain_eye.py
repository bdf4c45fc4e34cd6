"""A plain eye, everything looked for and nothing found, as a case file would have it; tests change single findings."""

from __future__ import annotations

from planner.case import Case, read_case
from planner.rulebook.rulebook import Rulebook

SECTIONS = ["patient", "allergies", "history", "outer-eye", "pressure-and-chamber", "pupil-and-zonule", "lens", "view"]
FINDINGS = {
    "age_years": "55",
    "sex": "female",
    "opacity": "partial",
    "dilated_pupil_mm": "7",
    "anterior_chamber_depth_mm": "3.1",
    "spherical_equivalent_d": "1",
    "nuclear_opalescence_locs3": "3",
    "axial_length_mm": "23.5",
    "iop_mmhg": "15",
    "endothelial_cells_per_mm2": "2400",
    "red_reflex": "good",
    "fundus_view": "clear",
    "trainee_involvement_agreed": "yes",
    "consent_to_surgery": "yes",
    "lens_power_d": "21",
    "backup_lens_power_d": "20.5",
    "biometry_reference": "B-1",
    "biometry_date": "2026-11-02",
}
# What goes with a white lens, which hides the fundus; an earlier letter tells of its back, and of retina and macula.
WHITE = {
    "opacity": "total-white",
    "cortex": "firm",
    "red_reflex": "none",
    "fundus_view": "hazy",
    "posterior_polar_opacity": "no",
    "posterior_capsule_plaque": "no",
    "macular_oedema": "no",
}


def plain_eye(rulebook: Rulebook, **findings: str) -> Case:
    """The plain eye with these findings changed; `not-recorded` takes one away."""
    raw = {"case": "T-1", "eye": "right", "none_found_in": SECTIONS, "findings": {**FINDINGS, **findings}}
    return read_case(raw, rulebook.vocabulary)
