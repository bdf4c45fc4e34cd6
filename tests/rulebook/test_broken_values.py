"""Values that YAML would have guessed at, claims without their basis: what the reader is told, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import AGE, CORNEA, LENS, LOW, ODDS, POINTS, Broken, assert_it_does_not_load
from seeds import one_in

COERCIONS = {
    words: Broken(CORNEA, POINTS, f"    points: {scalar}\n", f"points: {scalar}", (f"'{scalar}'", expected))
    for words, scalar, expected in (
        ("no for a number", "no", "write it like 2.5"),
        ("a leading zero", "02", "write it like 2.5"),
        ("a time of day", "12:30", "write it like 2.5"),
        ("an exponent", "1e0", "write it like 2.5"),
        ("a decimal comma", "2,5", "write it like 2.5"),
        ("a fraction for a whole number", "2.5", "a whole number"),
        ("a number too large", "11", "at most 10"),
        ("a number below nought", "-1", "at least 0"),
    )
} | {
    "infinity": Broken(
        ODDS, "probability: 0.0075", "probability: .inf", "probability: .inf", ("'.inf'", "write it like 2.5")
    ),
    "a day written otherwise": Broken(
        CORNEA, "due: 2027-11-01", "due: 01/11/2027", "due: 01/11/2027", ("`review.due` is '01/11/2027'", "YYYY-MM-DD")
    ),
    "neither yes nor no": Broken(
        "readiness.yaml",
        "only_when_certain: yes",
        "only_when_certain: maybe",
        "maybe",
        ("'maybe' is neither yes nor no",),
    ),
}

BASES = {
    "points without a basis": Broken(
        CORNEA, "    points_basis: common-practice\n", "", LOW, ("points without points_basis", "does not load")
    ),
    "steps made harder without a basis": Broken(
        CORNEA, "    harder_basis: common-practice\n", "", LOW, ("harder_steps without harder_basis", "does not load")
    ),
    "limits without a basis": Broken(
        CORNEA,
        "    limits_basis: {basis: published, source: chen-2021, where: limits of its groups, known: seen}\n",
        "",
        LOW,
        ("`limits_basis` is missing", "a claim without its basis does not load"),
    ),
    "a floor without a basis": Broken(
        LENS,
        "      basis: {basis: unit-policy, approver: not yet approved}\n",
        "",
        "    floor:",
        ("`floor.basis` is missing", "a claim without its basis does not load"),
    ),
    "a possible range without a basis": Broken(
        "findings.yaml", "    range_basis: common-practice\n", "", AGE, ("age_years", "needs possible and range_basis")
    ),
    "a basis that is none": Broken(
        CORNEA,
        "points_basis: common-practice",
        "points_basis: comon-practice",
        "comon-practice",
        ("'comon-practice'", "published, common-practice, unit-policy", "did you mean common-practice?"),
    ),
    "published, but not where": Broken(
        CORNEA,
        "limits_basis: {basis: published, source: chen-2021, where: limits of its groups,",
        "limits_basis: {basis: published, source: chen-2021,",
        "limits_basis: {basis: published",
        ("needs source, where (the place in it) and known",),
    ),
    "published, but not whether seen": Broken(
        CORNEA,
        "where: limits of its groups, known: seen}",
        "where: limits of its groups}",
        "where: limits of its groups}",
        ("needs source, where (the place in it) and known",),
    ),
    "unit policy without an approver": Broken(
        CORNEA,
        "points_basis: common-practice",
        "points_basis: unit-policy",
        "points_basis: unit-policy",
        ("unit-policy needs its approver", "not yet approved"),
    ),
    "common practice with a source": Broken(
        CORNEA,
        "points_basis: common-practice",
        "points_basis: {basis: common-practice, source: chen-2021}",
        "source: chen-2021",
        ("common-practice cites no source", "or call it published"),
    ),
}


@pytest.mark.parametrize("edit", one_in(3, (COERCIONS | BASES).values()), ids=(COERCIONS | BASES))
def test_what_is_not_taken(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)
