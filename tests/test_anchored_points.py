"""Points are anchored to published odds: points = round(2 x log2(odds ratio)), and the odds are the ones printed."""

import math

import pytest

from planner.conditions import findings_in
from planner.rulebook.load import shipped
from planner.rulebook.shapes import Factor

# Adjusted odds ratios of capsule rupture, the points they come to, and whether the value was read or recalled.
# 2.99, 2.92, 1.45, 1.47: Narendran et al., Eye 2009;23:31, as reprinted in a letter, Eye 2010, eye2009121a (read).
# 2.46, 1.63, 1.30, 1.27: the same paper, recalled and not read.
# 1.56: the same letter's own result for chamber depth (read).
# 3.21: Segers et al., J Cataract Refract Surg 2022, abstract (read).
PUBLISHED = {
    "white-lens": (2.99, 3, "seen"),
    "brown-lens": (2.99, 3, "seen"),
    "pseudoexfoliation": (2.92, 3, "seen"),
    "phacodonesis": (2.92, 3, "seen"),
    "small-pupil": (1.45, 1, "seen"),
    "long-eye": (1.47, 1, "seen"),
    "shallow-chamber": (1.56, 1, "seen"),
    "corneal-opacity": (3.21, 3, "seen"),
    "no-fundal-view": (2.46, 3, "from-memory"),
    "diabetic-retinopathy": (1.63, 1, "from-memory"),
    "glaucoma": (1.30, 1, "from-memory"),
    "cannot-lie-flat": (1.27, 1, "from-memory"),
}


def anchored() -> dict[str, Factor]:
    factors = shipped().factors.values()
    return {f.id: f for f in factors if f.points_basis is not None and f.points_basis.odds_ratio is not None}


@pytest.mark.parametrize(("odds_ratio", "points"), [(2.99, 3), (1.56, 1), (1.14, 0)])
def test_the_rule_gives_the_worked_examples_of_the_design(odds_ratio: float, points: int) -> None:
    assert round(2 * math.log2(odds_ratio)) == points


def test_every_factor_with_an_odds_ratio_has_the_points_it_comes_to() -> None:
    assert {id: f.points for id, f in anchored().items()} == {
        id: round(2 * math.log2(f.points_basis.odds_ratio))  # type: ignore[union-attr, arg-type]
        for id, f in anchored().items()
    }


def test_the_odds_are_those_printed_and_say_whether_they_were_read() -> None:
    shown = {
        id: (f.points_basis.odds_ratio, f.points, f.points_basis.known)  # type: ignore[union-attr]
        for id, f in anchored().items()
    }
    assert shown == PUBLISHED


def test_the_interval_of_the_shallow_chamber_is_the_printed_one_and_holds_its_odds() -> None:
    basis = shipped().factors["shallow-chamber"].points_basis
    assert basis is not None and basis.interval == (0.98, 2.49)  # letter, Eye 2010;24(2): adjusted 0.98 to 2.49
    for factor in anchored().values():
        assert factor.points_basis is not None and factor.points_basis.odds_ratio is not None
        if factor.points_basis.interval is not None:
            low, high = factor.points_basis.interval
            assert low < factor.points_basis.odds_ratio < high


def test_age_and_sex_have_no_points() -> None:
    scored = [f.id for f in shipped().factors.values() if f.points and findings_in(f.when) & {"age_years", "sex"}]
    assert scored == []


def test_what_the_source_counts_jointly_counts_once() -> None:
    # Narendran 2009 counts pseudoexfoliation or phacodonesis as one factor, and brown or white as one; a lost view
    # behind such a lens is the lens again.
    factors = shipped().factors
    assert factors["pseudoexfoliation"].counts_once_with == factors["phacodonesis"].counts_once_with == "zonule"
    assert {factors[id].counts_once_with for id in ("white-lens", "brown-lens", "no-fundal-view", "dense-nucleus")} == {
        "lens-density"
    }
    once = {term.id: term.counts_once_with for term in shipped().odds.terms}
    assert once["density"] == once["fundal-view"] == "lens-density"


def test_points_and_floors_never_fall_along_a_measure_that_worsens() -> None:
    factors = shipped().factors
    ladders = [
        ("raised-pressure", "uncontrolled-pressure"),
        ("shallow-chamber", "short-eye", "very-short-eye"),
        ("zonule-loss", "wide-zonule-loss", "very-wide-zonule-loss"),
        ("small-pupil", "very-small-pupil"),
        ("moderate-endothelial-count", "low-endothelial-count"),
        ("uveitis-history", "active-uveitis"),
        ("phacolytic-pressure", "phacomorphic-attack"),
    ]
    for ladder in ladders:
        points = [factors[id].points for id in ladder]
        assert points == sorted(points), ladder
        assert len({factors[id].counts_once_with for id in ladder}) == 1, ladder


# The floors the unit's draft policy names, and no others.
FLOORS = {
    "only-seeing-eye": 4,
    "cannot-lie-flat": 4,
    "posterior-polar-opacity": 4,
    "phacomorphic-attack": 4,
    "phacodonesis": 4,
    "wide-zonule-loss": 4,
    "brown-lens-weak-zonule": 4,
    "brown-lens-low-count": 4,
    "tense-white-lens": 3,
}


def test_the_floors_are_those_of_the_draft_policy() -> None:
    floors = {f.id: f.floor for f in shipped().factors.values() if f.floor is not None}
    assert {id: floor.tier for id, floor in floors.items()} == FLOORS
    assert {(floor.basis.basis, floor.basis.approver) for floor in floors.values()} == {
        ("unit-policy", "not yet approved")
    }
