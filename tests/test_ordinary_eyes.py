"""Caution is not spent on ordinary eyes: ten of them as they are recorded, and two hundred made from seeds.

Expectations are a consultant's, written before the program had run on them (common practice, tests/eyes/ordinary.yaml).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest
from ordinary_eyes import STAGES, eyes, gates, levels, made, read, recorded, told

from planner.assess.assess import assess
from planner.assess.assessment import Assessment
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook

MADE = 200
MISSING_AT_MOST = 2
LOOKS_AT_MOST = 6
EXAMINED = levels()[levels().index("clinic") :]


@pytest.fixture(scope="session")
def assessed(rulebook: Rulebook) -> Callable[[str, str], Assessment]:
    @cache
    def of(name: str, level: str) -> Assessment:
        return assess(read(recorded(name, level), rulebook), rulebook)

    return of


@pytest.fixture(scope="session")
def planned(rulebook: Rulebook, assessed: Callable[[str, str], Assessment]) -> Callable[[str, str], Plan]:
    @cache
    def of(name: str, level: str) -> Plan:
        return make_plan(assessed(name, level), rulebook, None, "early")

    return of


@pytest.mark.parametrize("level", levels())
@pytest.mark.parametrize("name", eyes())
def test_on_record_is_tier_1_from_the_bare_letter_on(assessed, name: str, level: str) -> None:
    tier = assessed(name, level).tier
    assert tier.on_record == 1 and tier.least == 1, tier


@pytest.mark.parametrize("name", eyes())
def test_until_known_is_no_tier_1_while_nobody_has_dilated_the_eye(assessed, name: str) -> None:
    """The other half of the measure: a letter that says nothing of pupil, zonule and fellow eye is no all-clear."""
    for level in levels()[: levels().index("pupil")]:
        assert assessed(name, level).tier.working > 1, level


@pytest.mark.parametrize("name", eyes())
def test_recording_more_never_widens_what_is_open(assessed, name: str) -> None:
    """With ordinary values each level closes: neither end of the range moves outward, and no more is missing."""
    for before, after in zip(levels(), levels()[1:], strict=False):
        wide, narrow = assessed(name, before), assessed(name, after)
        assert wide.tier.least <= narrow.tier.least <= narrow.tier.most <= wide.tier.most, after
        assert len(narrow.missing) <= len(wide.missing), after


@pytest.mark.parametrize("level", EXAMINED)
@pytest.mark.parametrize("name", eyes())
def test_examined_as_a_clinic_examines_it_is_tier_1_in_both_readings(assessed, name: str, level: str) -> None:
    assessment = assessed(name, level)
    assert (assessment.tier.on_record, assessment.tier.working) == (1, 1), assessment.tier.decided_by
    assert len(assessment.missing) <= MISSING_AT_MOST, [missing.finding for missing in assessment.missing]


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("level", EXAMINED)
@pytest.mark.parametrize("name", eyes())
def test_the_trainee_takes_the_steps_of_the_stage(
    rulebook: Rulebook, assessed, name: str, level: str, stage: str
) -> None:
    """Every step that the stage takes in a whole operation, which in an ordinary eye is every step there is."""
    plan = make_plan(assessed(name, level), rulebook, None, stage)
    assert plan.assessment.readiness.state == "ready", plan.assessment.readiness.because
    assert plan.supervision.mode not in ("consultant-operates", "consultant-only")
    hardest = next(s.takes_up_to for s in rulebook.stages.stages if s.id == stage)
    assert {s.id for s in plan.steps if s.who != "trainee"} == {s.id for s in plan.steps if s.difficulty > hardest}
    assert all(step.who == "trainee" for step in plan.steps)


@pytest.mark.parametrize("name", eyes())
def test_a_bare_letter_asks_for_six_looks_at_most(assessed, rulebook: Rulebook, name: str) -> None:
    """A look is one sitting by one person, told as the rulebook tells it."""
    assessment = assessed(name, "letter")
    looks = [look.look for look in assessment.looks]
    assert 1 <= len(looks) <= LOOKS_AT_MOST and len(set(looks)) == len(looks), looks
    known = {look.id: look for look in rulebook.vocabulary.looks}
    for look in assessment.looks:
        assert (look.label, look.who, look.minutes) == (
            known[look.look].label, known[look.look].who, known[look.look].minutes,
        )  # fmt: skip
        assert look.findings and {rulebook.vocabulary.by_id[f].look for f in look.findings} == {look.look}


@pytest.mark.parametrize("name", eyes())
def test_the_slit_lamp_comes_first_and_before_the_drops(assessed, name: str) -> None:
    """The most decisive look of a bare letter is through a wide pupil; what drops spoil is looked at before."""
    looks = [look.look for look in assessed(name, "letter").looks]
    assert looks[:2] == ["slit-lamp-undilated", "slit-lamp-dilated"]


@pytest.mark.parametrize("name", eyes())
def test_every_missing_finding_has_its_one_look(assessed, name: str) -> None:
    for level in levels():
        assessment = assessed(name, level)
        seen = [finding for look in assessment.looks for finding in look.findings]
        assert len(seen) == len(set(seen)), level
        assert {missing.finding for missing in assessment.missing} <= set(seen), level


@pytest.mark.parametrize("name", eyes())
def test_the_looks_settle_the_letter(assessed, rulebook: Rulebook, name: str) -> None:
    """Everything that the looks name, found ordinary, leaves tier 1 in both readings and nothing in the way."""
    raw, whole = recorded(name, "letter"), recorded(name, "measured")["findings"]
    found = dict[str, str]()
    for look in assessed(name, "letter").looks:
        for finding in (rulebook.vocabulary.by_id[f] for f in look.findings):
            if finding.asked_when is not None:
                continue  # it waits for another, and is not asked of an ordinary eye
            value = whole.get(finding.id, finding.unremarkable if finding.plain is None else finding.plain)
            assert value is not None, f"{finding.id}: nobody says what it is like in an ordinary eye"
            found[finding.id] = value
    after = assess(read(raw, rulebook, **found), rulebook)
    assert (after.tier.on_record, after.tier.working) == (1, 1), after.tier.decided_by
    assert after.readiness.state == "ready", after.readiness.because


@pytest.mark.parametrize("level", levels())
@pytest.mark.parametrize("name", eyes())
def test_the_technique_is_the_ordinary_one(planned, name: str, level: str) -> None:
    """From the bare letter on: no plan for the sum of everything that could be wrong, which is a plan for no eye."""
    choices = planned(name, level).choices
    wrong = {
        choice: choices[choice].option
        for choice, allowed in told("ordinary")["ordinary"].items()
        if choices[choice].option not in allowed
    }
    assert not wrong


@pytest.mark.parametrize("name", eyes())
def test_the_letters_technique_has_its_gates(planned, name: str) -> None:
    choices = planned(name, "letter").choices
    for gate in told("ordinary")["gates"]:
        chosen = choices[gate["choice"]]
        others = {option for finding, option in gates(chosen) if finding == gate["finding"]}
        assert others and chosen.option not in others, (gate, chosen.if_found)


@pytest.mark.parametrize("name", eyes())
def test_dye_is_not_printed_as_a_matter_of_course(planned, name: str) -> None:
    """With the reflex not recorded, dye stands behind its gate or is prepared; with a good one there is none."""
    dye = planned(name, "letter").choices["capsule-dye"]
    assert dye.option != "no-dye" or "red_reflex" in {finding for finding, _ in gates(dye)}
    assert planned(name, "pupil").choices["capsule-dye"].option == "no-dye"


@pytest.mark.parametrize("level", EXAMINED)
@pytest.mark.parametrize("name", eyes())
def test_an_examined_eye_has_no_gate_left(planned, name: str, level: str) -> None:
    plan = planned(name, level)
    left = {finding for chosen in plan.choices.values() for gate in chosen.if_found for finding in gate.findings}
    assert left <= {missing.finding for missing in plan.assessment.missing}


@pytest.mark.parametrize("seed", range(MADE))
def test_two_hundred_ordinary_eyes_are_tier_1_in_both_readings(rulebook: Rulebook, seed: int) -> None:
    assessment = assess(read(made(seed), rulebook), rulebook)
    assert (assessment.tier.on_record, assessment.tier.working) == (1, 1), assessment.tier.decided_by
    assert len(assessment.missing) <= MISSING_AT_MOST, [missing.finding for missing in assessment.missing]
    assert assessment.readiness.state == "ready", assessment.readiness.because


def test_the_made_eyes_are_many_and_unlike() -> None:
    """The generator does not make one eye two hundred times, and the same seed makes the same eye."""
    cases = [made(seed) for seed in range(MADE)]
    assert made(7) == made(7)
    assert len({str(case["findings"]) for case in cases}) == MADE
    ages = [int(case["findings"]["age_years"]) for case in cases]
    assert min(ages) <= 62 and max(ages) >= 83
    assert {case["eye"] for case in cases} == {"right", "left"}
    for choice in ("sex", "nucleus_hardness", "anticoagulant", "visual_acuity"):
        assert len({case["findings"][choice] for case in cases}) > 1, choice


@pytest.mark.parametrize("seed", range(0, MADE, 10))
def test_a_preference_left_blank_changes_no_tier_and_asks_nothing(rulebook: Rulebook, seed: int) -> None:
    raw = made(seed)
    blank = {name: "not-recorded" for name in ("anaesthesia_requested", "planned_lens_material")}
    given = {"anaesthesia_requested": "topical", "planned_lens_material": "hydrophobic-acrylic"}
    without, with_ = (assess(read(raw, rulebook, **findings), rulebook) for findings in (blank, given))
    assert without.tier == with_.tier and without.readiness == with_.readiness
    assert not set(blank) & {missing.finding for missing in without.missing}


def test_each_step_of_recording_is_pinned(assessed) -> None:
    """The measure as a table: how many of the ten are tier 1 until known, at each level (the reach of the issue)."""
    ones = {level: sum(assessed(name, level).tier.working == 1 for name in eyes()) for level in levels()}
    assert [ones[level] for level in EXAMINED] == [len(eyes())] * len(EXAMINED), ones
    assert sum(ones[level] for level in ("letter", "history", "sections")) == 0, ones
