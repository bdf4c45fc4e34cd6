"""The published scores through `assess`: Muhtaseb 2004 tables 1 and 2 (seen), Han 2020 (seen in a review)."""

from __future__ import annotations

import pytest

from planner.assess.assess import assess
from planner.case import read_case

SECTIONS = ["patient", "allergies", "history", "outer-eye", "pressure-and-chamber", "pupil-and-zonule", "lens", "view"]
PLAIN = {
    "age_years": "70",
    "sex": "female",
    "opacity": "partial",
    "dilated_pupil_mm": "7",
    "anterior_chamber_depth_mm": "3.1",
    "spherical_equivalent_d": "1",
    "nuclear_opalescence_locs3": "3",
    "axial_length_mm": "23.5",
    "iop_mmhg": "15",
}
ORACLES = {
    "0 points": ({}, 0, (25, 579), (9, 579)),
    "small pupil and age 89": ({"dilated_pupil_mm": "2.9", "age_years": "89"}, 2, (19, 255), (4, 255)),
    "white lens": ({"opacity": "total-white", "cortex": "firm"}, 3, (19, 141), (7, 141)),
    "white lens, pseudoexfoliation": (
        {"opacity": "total-white", "cortex": "firm", "pseudoexfoliation": "yes"},
        6,
        (8, 25),
        (2, 25),
    ),
    "exactly at every cut-off, all strict": (
        {"age_years": "88", "anterior_chamber_depth_mm": "2.5", "dilated_pupil_mm": "3", "spherical_equivalent_d": "6"},
        0,
        (25, 579),
        (9, 579),
    ),
}


@pytest.mark.parametrize("name", ORACLES)
def test_muhtaseb_points_and_group(rulebook, name: str) -> None:
    findings, points, complication, rupture = ORACLES[name]
    raw = {"case": "O", "eye": "right", "none_found_in": SECTIONS, "findings": {**PLAIN, **findings}}
    assessment = assess(read_case(raw, rulebook.vocabulary), rulebook)
    score = next(s for s in assessment.published_scores if s.id == "muhtaseb-2004")
    assert (score.points.least, score.points.most) == (points, points)
    (group,) = score.groups
    assert complication in group.rates.values() and rupture in group.rates.values()
