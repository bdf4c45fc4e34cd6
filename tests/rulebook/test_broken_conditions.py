"""Conditions that cannot be read, or that ask what is not yet decided: what the reader is told, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import CORNEA, LENS, ODDS, SCORE, WHEN_LOW, WHITE, Broken, assert_it_does_not_load
from seeds import one_in

CONDITIONS = {
    "a test that is none": Broken(
        CORNEA,
        WHEN_LOW,
        "when: {finding: endothelial_cells_per_mm2, below: 1000}",
        "below: 1000",
        ("unknown test 'below'", "less_than"),
    ),
    "a finding without a test": Broken(
        CORNEA,
        WHEN_LOW,
        "when: {finding: endothelial_cells_per_mm2}",
        "when: {finding: endothelial_cells_per_mm2}",
        ("a finding needs a test",),
    ),
    "a word that is none": Broken(
        CORNEA, WHEN_LOW, "when: {both: []}", "both", ("unknown word 'both'", "all; any; not")
    ),
    "an expression in text": Broken(
        CORNEA, WHEN_LOW, "when: cells < 1000", "cells < 1000", ("must be a mapping, not 'cells < 1000'", "allowed:")
    ),
    "two words in one": Broken(
        CORNEA,
        WHEN_LOW,
        "when: {factor: guttata, option: ovd.soft-shell}",
        "option: ovd.soft-shell",
        ("exactly one of all, any",),
    ),
    "no parts": Broken(
        CORNEA,
        WHEN_LOW,
        "when:\n      all:\n        - {factor: guttata}\n        - any: []",
        "any: []",
        ("any takes a list of conditions",),
    ),
    "more of them than there are": Broken(
        "interactions.yaml", "      at_least: 2\n", "      at_least: 5\n", "at_least: 5", ("'5'", "from 1 to 4 here")
    ),
    "a number in words": Broken(
        "interactions.yaml", "      at_least: 2\n", "      at_least: two\n", "at_least: two", ("'two'", "from 1 to 4")
    ),
    "a list of factors": Broken(
        CORNEA, WHEN_LOW, "when: {factor: [guttata]}", "factor: [guttata]", ("factor takes one id",)
    ),
    "a limit no value can reach": Broken(
        CORNEA,
        WHEN_LOW,
        "when: {finding: endothelial_cells_per_mm2, less_than: 100000}",
        "less_than: 100000",
        ("100000 is outside the possible range", "was 1000 meant?"),
    ),
    "a limit deep in a condition": Broken(
        CORNEA,
        WHEN_LOW,
        "when:\n      all:\n      - {factor: guttata}\n      - not:\n          {finding: age_years, at_least: 780}",
        "at_least: 780",
        ("780 is outside the possible range", "was 78 meant?"),
    ),
    "a choice's value, misspelt": Broken(
        LENS,
        WHITE,
        "when: {finding: opacity, is: total-wite}",
        "total-wite",
        ("'total-wite' is not one of the values", "did you mean total-white?"),
    ),
    "a number test of words": Broken(
        LENS,
        WHITE,
        "when: {finding: opacity, at_least: 3}",
        "opacity, at_least",
        ("opacity is a choice and takes is or is_one_of",),
    ),
    "words of a number": Broken(
        CORNEA,
        WHEN_LOW,
        "when: {finding: endothelial_cells_per_mm2, is: low}",
        "is: low",
        ("is a number and takes less_than or at_most",),
    ),
    "includes of a choice": Broken(
        LENS,
        WHITE,
        "when: {finding: opacity, includes: total-white}",
        "includes: total-white",
        ("opacity is a choice and takes is or is_one_of, not includes",),
    ),
    "is of a set": Broken(
        "factors/zonule-and-pupil.yaml",
        "includes: [tamsulosin, doxazosin, alfuzosin, terazosin, other]",
        "is: tamsulosin",
        "is: tamsulosin",
        ("alpha_blocker_ever is a set and takes includes, not is",),
    ),
    "one limit of several that is not recorded": Broken(
        LENS,
        WHITE,
        "when: {finding: opacity, is_one_of: [total-white, not-recorded]}",
        "not-recorded]",
        ("a limit is a value",),
    ),
    "a limit that is not recorded": Broken(
        LENS,
        WHITE,
        "when: {finding: opacity, is: not-recorded}",
        "is: not-recorded",
        ("a limit is a value", "partial, total-white"),
    ),
}

EARLY = ("is chosen only after this", "say it in findings and factors")
OPTION = "{option: hydro.small-waves}"
SPEECH = {
    "a factor that asks about an option": Broken(CORNEA, WHEN_LOW, f"when: {OPTION}", OPTION, EARLY),
    "a model that asks about an option": Broken(
        ODDS, "when: {finding: sex, is: male}", f"when: {OPTION}", OPTION, EARLY
    ),
    "a score that asks about an option": Broken(
        SCORE, "when: {finding: pseudoexfoliation, is: yes}", f"when: {OPTION}", OPTION, EARLY
    ),
    "an option that asks about an option": Broken(
        "choices/hydro.yaml", "when: {factor: weak-zonule}", f"when: {OPTION}", OPTION, EARLY
    ),
    "a raise that asks about an option": Broken(
        "interactions.yaml", "        - {factor: white-lens}\n", f"        - {OPTION}\n", OPTION, EARLY
    ),
    "readiness that asks about an option": Broken(
        "readiness.yaml", "when: {finding: active_eye_infection, is: yes}", f"when: {OPTION}", OPTION, EARLY
    ),
    "a withhold of an option that asks about an option": Broken(
        "interactions.yaml",
        "when: {any: [{factor: posterior-polar-opacity}, {factor: suspected-capsule-breach}]}",
        f"when: {OPTION}",
        OPTION,
        EARLY,
    ),
    "an impossible pair that asks about an option": Broken(
        "findings.yaml",
        "when: {all: [{finding: diabetes, is: no}, {finding: diabetic_retinopathy, is: yes}]}",
        f"when: {OPTION}",
        OPTION,
        EARLY,
    ),
    "an odd pair that asks about a factor": Broken(
        "findings.yaml",
        "when: {all: [{finding: lens_shifts_with_posture, is: yes}, {finding: phacodonesis, is: no}]}",
        "when: {factor: phacodonesis}",
        "{factor: phacodonesis}",
        ("judged only after this", "say it in findings"),
    ),
    "asked_when that asks about a factor": Broken(
        "findings.yaml",
        "asked_when: {finding: previous_vitrectomy, is: yes}",
        "asked_when: {factor: previous-vitrectomy}",
        "{factor: previous-vitrectomy}",
        ("judged only after this", "say it in findings"),
    ),
    "a factor that asks what was recorded": Broken(
        CORNEA,
        "when: {finding: guttata, is: yes}",
        "when: {finding: guttata, recorded: no}",
        "recorded: no",
        ("whether guttata is recorded cannot be asked here", "only readiness and cautions may ask"),
    ),
    "an impossible pair that asks what was recorded": Broken(
        "findings.yaml",
        "when: {all: [{finding: diabetes, is: no}, {finding: diabetic_retinopathy, is: yes}]}",
        "when: {finding: diabetes, recorded: no}",
        "recorded: no",
        ("whether diabetes is recorded cannot be asked here",),
    ),
    "recorded, neither yes nor no": Broken(
        "readiness.yaml", "recorded: no}", "recorded: maybe}", "recorded: maybe", ("recorded takes yes or no",)
    ),
}


@pytest.mark.parametrize("edit", one_in(3, (CONDITIONS | SPEECH).values()), ids=(CONDITIONS | SPEECH))
def test_what_cannot_be_asked(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)
