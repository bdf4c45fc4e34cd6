"""A line that has the consultant do something, not merely decide or be called, is never left to the trainee.

The words below are read the way an eye theatre reads them: the consultant as the one who acts, `the consultant clears
it` or `removed by the consultant`. To call, to ask or to wait for the consultant's word leaves the hands where they
are.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from plain_eye import plain_eye

from planner.assess.assess import assess
from planner.case import STAGES, Case, read_case
from planner.plan.allocation import allocate
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES

# What a consultant may be said to do without taking an instrument.
WORDS_ONLY = ("decides", "agrees", "says", "judges", "advises", "approves", "is", "has", "was")
ACTS = re.compile(rf"\bconsultant (?!(?:{'|'.join(WORDS_ONLY)})\b)[a-z]+s\b(?! asked)", re.I)
BY = re.compile(r"\b(?:by|from) (?:the|a) (?:[a-z]+ )?consultant\b(?!'s word)", re.I)


def consultant_acts(line: str) -> bool:
    """Whether a line to do has the consultant do it."""
    return bool(ACTS.search(line) or BY.search(line))


def to_do(rulebook: Rulebook) -> Iterator[tuple[str, bool, str]]:
    """Each line to do, with where it stands and whether that is marked as the consultant's."""
    for choice in rulebook.choices.values():
        for option in choice.options:
            name = f"{choice.id}.{option.id}"
            yield from ((name, option.consultant_does, line) for line in option.do)
            yield from ((name, option.consultant_does, line.do) for line in option.drug_lines)
            yield from ((name, option.consultant_does, line) for also in option.also.values() for line in also)
    for step in rulebook.steps:
        for line in step.lines:
            yield from ((f"{step.id}/{line.id}", line.consultant_does, text) for text in line.do)


@pytest.mark.parametrize(
    "line",
    [
        "Show it with triamcinolone, and the consultant clears it by a dry vitrectomy.",
        "The consultant takes out the implant first.",
        "The consultant marks the incision at the slit lamp.",
        "The whole lens is removed by the consultant.",
        "Face-to-face seating only by a practised consultant.",
    ],
)
def test_the_words_for_a_consultant_who_acts_are_found(line: str) -> None:
    assert consultant_acts(line)


@pytest.mark.parametrize(
    "line",
    [
        "Stop and call the consultant.",
        "No tear; the consultant decides on a can-opener edge.",
        "The corneal consultant asked about a combined graft.",
        "The operation waits for the consultant's word.",
        "Consultant to consultant, before listing.",
    ],
)
def test_calling_asking_or_waiting_is_not_acting(line: str) -> None:
    assert not consultant_acts(line)


def test_what_the_consultant_does_is_marked_so(rulebook: Rulebook) -> None:
    acting = [(name, marked, line) for name, marked, line in to_do(rulebook) if consultant_acts(line)]
    assert {name for name, _, _ in acting} >= {
        "ovd/vitreous-first",
        "ovd/very-short-fill",
        "incisions/phakic-lens-out-first",
        "incision.convertible-tunnel",
        "hydro/freed-beside-a-gap",
        "cortex/cortex-in-a-crowded-eye",
        "lens/ring-and-lens-by-the-consultant",
    }
    assert [(name, line) for name, marked, line in acting if not marked] == []


def given_out(case: Case, rulebook: Rulebook) -> Iterator[tuple[Plan, Plan]]:
    """The plan of each stage, with what a consultant would be offered to approve at each tier and mode."""
    assessment = assess(case, rulebook)
    for stage in STAGES:
        plan = make_plan(assessment, rulebook, stage=stage)
        for tier in (1, 2, 3, 4):
            for mode in (None, *MODES):
                yield plan, allocate(plan, rulebook, stage, tier, mode)


def test_no_tier_or_mode_gives_a_trainee_what_the_consultant_does(rulebook: Rulebook) -> None:
    # Vitreous in the chamber: the consultant clears it at the step of the viscoelastic.
    trainee = set()
    for plan, given in given_out(plain_eye(rulebook, vitreous_in_chamber="yes"), rulebook):
        assert next(step for step in plan.steps if step.id == "ovd").reserved
        assert given.hands["ovd"] == "supervisor"
        trainee |= {step for step, who in given.hands.items() if who == "trainee"}
    assert "cortex" in trainee


def test_where_too_little_is_recorded_for_a_technique_no_step_is_a_trainees(rulebook: Rulebook) -> None:
    sparse = read_case({"case": "C-1", "eye": "left", "findings": {"age_years": "70"}}, rulebook.vocabulary)
    for plan, given in given_out(sparse, rulebook):
        assert plan.supervision.trainee_steps == () and plan.supervision.target is None
        assert set(given.hands.values()) == {"supervisor"}
