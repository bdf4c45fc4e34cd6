"""Points are anchored to published odds: points = round(2 x log2(odds ratio)), and the odds are the ones printed."""

import math

import pytest

from planner import conditions
from planner.conditions import Condition, FactorHolds, OptionWins, compare, evaluate, findings_in, walk
from planner.rulebook.load import shipped
from planner.rulebook.shapes import Factor

# Adjusted odds ratios of capsule rupture, the points they come to, and whether the value was read or recalled.
# 2.99, 2.92, 1.45, 1.47: Narendran et al., Eye 2009;23:31, as reprinted in a letter, Eye 2010, eye2009121a (read).
# 2.46, 1.63, 1.30, 1.27: the same paper, recalled and not read.
# 1.56: the same letter's own result for chamber depth (read).
# 3.21: Segers et al., J Cataract Refract Surg 2022, abstract (read).
# 1.96: Salowi et al., Br J Ophthalmol 2017, abstract, from multiple logistic regression (read).
# 2.30: six studies pooled, Acta Ophthalmol 2022, doi:10.1111/aos.15089, abstract (read); not each of them adjusted.
PUBLISHED = {
    "white-lens": (2.99, 3, "seen"),
    "brown-lens": (2.99, 3, "seen"),
    "pseudoexfoliation": (2.92, 3, "seen"),
    "phacodonesis": (2.92, 3, "seen"),
    "small-pupil": (1.45, 1, "seen"),
    "long-eye": (1.47, 1, "seen"),
    "shallow-chamber": (1.56, 1, "seen"),
    "corneal-opacity": (3.21, 3, "seen"),
    "phacomorphic-attack": (1.96, 2, "seen"),
    "intravitreal-injections": (2.30, 2, "seen"),
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


# Letter, Eye 2010;24(2), adjusted; the abstracts named above.
INTERVALS = {
    "shallow-chamber": (0.98, 2.49),
    "corneal-opacity": (3.02, 3.41),
    "phacomorphic-attack": (1.25, 3.06),
    "intravitreal-injections": (1.39, 3.81),
}


def test_the_intervals_are_the_printed_ones_and_hold_their_odds() -> None:
    shown = {id: f.points_basis.interval for id, f in anchored().items()}  # type: ignore[union-attr]
    assert {id: interval for id, interval in shown.items() if interval is not None} == INTERVALS
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
        ("shallow-chamber", "very-shallow-chamber"),
        ("shallow-chamber", "shallow-for-the-length", "crowded-front"),
        ("short-eye", "crowded-front"),
        ("short-eye", "very-short-eye", "extremely-short-eye"),
        ("zonule-loss", "wide-zonule-loss", "very-wide-zonule-loss"),
        ("small-pupil", "very-small-pupil"),
        ("moderate-endothelial-count", "low-endothelial-count", "very-low-endothelial-count"),
        ("phacodonesis", "ectopia-lentis"),
        ("previous-blunt-trauma", "angle-recession"),
        ("suspected-capsule-breach", "visible-capsule-breach"),
        ("uveitis-history", "active-uveitis"),
        ("phacolytic-pressure", "phacomorphic-attack"),
    ]
    for ladder in ladders:
        points = [factors[id].points for id in ladder]
        assert points == sorted(points), ladder
        floors = [floor.tier for id in ladder if (floor := factors[id].floor)]
        assert floors == sorted(floors), ladder
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
    "hard-lens-low-count": 4,
    "lens-shifts-with-posture": 4,
    "ectopia-lentis": 4,
    "vitreous-in-chamber": 4,
    "visible-capsule-breach": 4,
    "phakic-lens": 4,
    "extremely-short-eye": 4,
    "very-low-endothelial-count": 4,
    "tense-white-lens": 3,
    "previous-corneal-graft": 3,
    "radial-keratotomy": 3,
    "silicone-oil": 3,
    "very-shallow-chamber": 3,
    "zonule-loss": 3,
    "penetrating-injury": 3,
    "fellow-eye-suprachoroidal-bleed": 3,
    "advanced-glaucoma": 2,
    "tamsulosin": 2,
    "previous-vitrectomy": 2,
    "proliferative-retinopathy": 2,
    "glaucoma-tube": 2,
    "hypotony": 2,
}


def test_the_floors_are_those_of_the_draft_policy() -> None:
    floors = {f.id: f.floor for f in shipped().factors.values() if f.floor is not None}
    assert {id: floor.tier for id, floor in floors.items()} == FLOORS
    assert {(floor.basis.basis, floor.basis.approver) for floor in floors.values()} == {
        ("unit-policy", "not yet approved")
    }


def test_every_finding_behind_a_floor_has_a_direction_of_harm() -> None:
    # "Worse is never better" is proved only of findings with a direction: a floor behind one without is no proof.
    rulebook = shipped()

    def reached(condition: Condition) -> set[str]:
        found = set(findings_in(condition))
        for part in walk(condition):
            if isinstance(part, FactorHolds):
                found |= reached(rulebook.factors[part.factor].when)
        return found

    floored = {id: reached(f.when) for id, f in rulebook.factors.items() if f.floor is not None}
    undirected = {f.id for f in rulebook.vocabulary.findings if f.worse == "none"}
    assert {id: sorted(names & undirected) for id, names in floored.items() if names & undirected} == {}
    assert all(floored.values())


def test_the_plain_eye_scores_nothing_at_its_plain_values() -> None:
    # What has no plain value (age, the powers) is left unknown: nothing then holds for certain.
    rulebook = shipped()
    plain = {f.id: f.plain_value for f in rulebook.vocabulary.findings}

    def tested(test: conditions.Test) -> bool | None:
        value = plain[test.finding]
        return None if value is None else compare(test, value)

    def holds(condition: Condition) -> bool | None:
        return evaluate(condition, tested, factor)

    def factor(named: FactorHolds | OptionWins) -> bool | None:
        assert isinstance(named, FactorHolds)
        return holds(rulebook.factors[named.factor].when)

    heavy = [f for f in rulebook.factors.values() if f.points or f.floor]
    assert [f.id for f in heavy if holds(f.when)] == []
    assert [lv.label for term in rulebook.odds.terms for lv in term.levels if holds(lv.when)] == []
