"""Tables with holes and numbers that cannot be worked with: what the reader is told, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import ODDS, SCORE, Broken, assert_it_does_not_load, lines, without
from seeds import one_in

from planner.rulebook.check import check

TABLES = {
    "a points band that starts above nought": Broken(
        "tiers.yaml",
        "{tier: 1, at_least: 0,",
        "{tier: 1, at_least: 1,",
        "{tier: 1, at_least: 1,",
        ("`points_bands` start at 1", "would have no tier"),
    ),
    "points bands that do not rise": Broken(
        "tiers.yaml",
        "{tier: 3, at_least: 4,",
        "{tier: 3, at_least: 2,",
        "{tier: 3, at_least: 2,",
        ("`points_bands` do not rise: tier 3 from 2 comes after tier 2 from 2",),
    ),
    "probability bands that do not rise": Broken(
        "tiers.yaml",
        "at_least: 0.06",
        "at_least: 0.02",
        "  - tier: 3",
        ("`probability_bands` do not rise", "0.02", "0.03"),
    ),
    "a probability in per cent": Broken(
        "tiers.yaml", "at_least: 0.15", "at_least: 15", "at_least: 15", ("15 is not a probability", "write 2 % as 0.02")
    ),
    "a baseline in per cent": Broken(
        ODDS, "probability: 0.0075", "probability: 75", "probability: 75", ("75 is not a probability", "fraction of 1")
    ),
    "groups of a score with a gap": Broken(
        SCORE, "    at_least: 1\n", "    at_least: 2\n", "at_least: 2", ("leaves a gap", "at_least: 1")
    ),
    "groups of a score that overlap": Broken(
        SCORE, "    at_least: 3\n", "    at_least: 2\n", "at_least: 2", ("overlaps the one before", "at_least: 3")
    ),
    "a score with a top": Broken(
        SCORE,
        "    at_least: 6\n",
        "    at_least: 6\n    at_most: 9\n",
        "  - label: 6 points and over",
        ("has a top", "leave out at_most"),
    ),
    "a hole in the supervision": Broken(
        "supervision.yaml",
        "    early: {mode: scrubbed, by: trainer}\n",
        "",
        "  '1':",
        ("no cell for tier 1, stage early", "early: {mode: ..., by: ...}"),
    ),
    "an operator whom nobody times": Broken(
        "durations.yaml",
        "  - {operator: early, grade: junior-trainee, basis: {basis: unit-policy, approver: not yet approved}}\n",
        "",
        "stands_for:",
        ("`stands_for` names early nowhere", "once"),
    ),
    "a grade that is not there": Broken(
        "durations.yaml",
        "{operator: early, grade: junior-trainee,",
        "{operator: early, grade: junior,",
        "{operator: early, grade: junior,",
        ("no grade 'junior'", "did you mean junior-trainee?"),
    ),
    "supervision for a tier that is none": Broken(
        "supervision.yaml", "  '4':\n", "  '5':\n", "'5':", ("unknown key '5'", "at most 4")
    ),
    "a mode without words": Broken(
        "supervision.yaml",
        "  consultant-only: The consultant operates; no trainee takes any step.\n",
        "",
        "modes:",
        ("no words for consultant-only",),
    ),
    "an odds ratio below 1": Broken(
        ODDS,
        "odds_ratio: 1.14",
        "odds_ratio: 0.88",
        "odds_ratio: 0.88",
        ("0.88, below 1", "make the mildest the reference"),
    ),
    "an operator below the reference": Broken(
        ODDS,
        "odds_ratio: 3.73",
        "odds_ratio: 0.36",
        "odds_ratio: 0.36",
        ("0.36, below 1", "no operator is below the reference"),
    ),
    "shares beyond the whole": Broken(
        ODDS, "share: 0.39\n", "share: 0.93\n", "    levels:", ("the shares of the levels of age",)
    ),
    "a choice without its usual way": Broken(
        "choices/hydro.yaml",
        "when: always",
        "when: {factor: guttata}",
        "  options:",
        ("the choice hydro has no option with `when: always`", "end it with the usual way"),
    ),
    "a choice with two usual ways": Broken(
        "choices/hydro.yaml",
        "when: {factor: weak-zonule}",
        "when: always",
        "\n    when: always",
        ("a second option of the choice hydro", "one could never win"),
    ),
    "more hooks drawn than the option names": Broken(
        "choices/pupil.yaml", "marks: 4", "marks: 6", "device: iris-hooks", ("`marks` is a number that `number` names",)
    ),
    "a ring in so many marks": Broken(
        "choices/pupil.yaml",
        "device: pupil-ring, placed: if-needed,",
        "device: pupil-ring, placed: if-needed, number: 1,",
        "device: pupil-ring",
        ("`number`, `marks` and `beneath_incision` are of hooks",),
    ),
    "a pupil ring without its size": Broken(
        "choices/pupil.yaml", "size_mm: 6.25, ", "", "- {device: pupil-ring", ("`size_mm` is the diameter",)
    ),
    "hooks with a size": Broken(
        "choices/pupil.yaml", "marks: 4", "marks: 4\n      size_mm: 6", "device: iris-hooks", ("of nothing else",)
    ),
}


@pytest.mark.parametrize("edit", one_in(3, TABLES.values()), ids=TABLES)
def test_what_cannot_be_worked_with(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)


def test_no_consultant_in_the_odds_model(rules: Path) -> None:
    text = (rules / ODDS).read_text(encoding="utf-8")
    edited = without(text, "  - id: consultant\n", "# What the model does not count")
    (rules / ODDS).write_text(edited, encoding="utf-8")
    (said,) = lines(check(rules))
    line = edited[: edited.index("\noperators:") + 1].count("\n") + 1
    assert said.startswith(f"rules/{ODDS}:{line}: no operator is the consultant (the tier rests on")


def test_a_stage_left_out(rules: Path) -> None:
    text = (rules / "stages.yaml").read_text(encoding="utf-8")
    edited = without(text, "  - id: middle\n", "  - id: late\n")
    (rules / "stages.yaml").write_text(edited, encoding="utf-8")
    (said,) = lines(check(rules))
    line = edited[: edited.index("\nstages:") + 1].count("\n") + 1
    assert said.startswith(f"rules/stages.yaml:{line}: `stages` names steps-only, early, late, independent")
    assert said.endswith("try: steps-only, early, middle, late, independent, once each, in order")


def test_a_points_band_left_out(rules: Path) -> None:
    text = (rules / "tiers.yaml").read_text(encoding="utf-8")
    edited = without(text, "  - {tier: 1, at_least: 0", "  - {tier: 2, at_least: 2")
    (rules / "tiers.yaml").write_text(edited, encoding="utf-8")
    (said,) = lines(check(rules))
    line = edited[: edited.index("\npoints_bands:") + 1].count("\n") + 1
    assert said.startswith(f"rules/tiers.yaml:{line}: `points_bands` names the tiers 2, 3, 4 (there are four")
