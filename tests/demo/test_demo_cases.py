"""Every demo case against what a consultant expected of it before the program had run (see demo_cases/expected/)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

from planner.assess.assess import assess
from planner.plan.make import make_plan
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
from planner.unit import Unit

if TYPE_CHECKING:
    from conftest import Planned

# What an expectation may hold, so that a misspelt line is not one that nobody checks.
REASONS = {"because", "because_not", "revised", "doubt"}
SHAPE: dict[str, set[str]] = {
    "tier": {"on_record", "on_record_at_least", "working", "least", "most", "at_least", "least_at_least"},
    "factors": {"hold", "absent", "unknown"},
    "readiness": {"state", "not_about", "without_unit"},
    "supervision": {"mode", "by", "at_least", "at_most", "no_trainee_steps", "trainee_takes", "trainee_never"},
    "drugs": {"withheld", "not_withheld", "not_given"},
    "missing": {"named", "settles_tier", "no_single_finding_settles_tier", "at_most"},
    "looks": {"named", "first", "at_most"},
    "first_drill": {"id"},
    "kit": {"lacking"},
}
CHOICE = {"expects", "option", "not_options", "if_found", "provisional", "says"}
OTHERS = {"case", "published_scores", "choices", "drills", "cautions", "queries", "revised"}


def test_expectation_holds_only_what_is_checked(demo: Planned) -> None:
    assert demo.expected["case"] == demo.case.reference
    assert set(demo.expected) <= set(SHAPE) | OTHERS
    for section, keys in SHAPE.items():
        assert set(demo.expected.get(section, {})) <= keys | REASONS, section
    for choice, told in demo.expected.get("choices", {}).items():
        assert {"expects", "because"} <= set(told) <= CHOICE | REASONS, choice
        assert {"option", "not_options"} & set(told), choice


def test_tier(demo: Planned) -> None:
    expected, tier = demo.expected["tier"], demo.assessment.tier
    for key in ("working", "least", "most"):
        if key in expected:
            assert getattr(tier, key) == int(expected[key]), (key, tier)
    assert tier.working >= int(expected.get("at_least", 1)), tier
    assert tier.least >= int(expected.get("least_at_least", 1)), tier
    assert {"working", "at_least"} & set(expected)


def test_tier_on_record(demo: Planned) -> None:
    """What the recorded findings alone say: nothing where too little is recorded, and never above what is worked to."""
    expected, tier = demo.expected["tier"], demo.assessment.tier
    assert {"on_record", "on_record_at_least"} & set(expected)
    if "on_record" in expected:
        on_record = expected["on_record"]
        assert tier.on_record == (None if on_record is None else int(on_record)), tier
    else:
        assert tier.on_record is not None and tier.on_record >= int(expected["on_record_at_least"]), tier
    if tier.on_record is not None:
        assert tier.least <= tier.on_record <= tier.working == tier.most, tier


def test_factors(demo: Planned) -> None:
    states = {factor.id: factor.state for factor in demo.assessment.factors}
    expected = demo.expected["factors"]
    wanted = {
        "hold": ("holds",),
        "absent": ("does-not-hold", "not-applicable"),
        "unknown": ("unknown",),
    }
    wrong = {
        name: states.get(name)
        for key, allowed in wanted.items()
        for name in expected.get(key, ())
        if states.get(name) not in allowed
    }
    assert not wrong


def test_published_scores(demo: Planned) -> None:
    scores = {score.id: score.points for score in demo.assessment.published_scores}
    for name, points in demo.expected.get("published_scores", {}).items():
        if "least" in points:
            assert (scores[name].least, scores[name].most) == (int(points["least"]), int(points["most"])), name
        else:
            assert scores[name].most <= int(points["at_most"]), name


def test_readiness(demo: Planned) -> None:
    expected, readiness = demo.expected["readiness"], demo.plan.assessment.readiness
    assert readiness.state == expected["state"], readiness.because
    reasons = {f"{reason.id} {reason.because}".lower(): reason.certain for reason in readiness.because}
    if expected["state"] == "settle-first":
        for told in expected["because"]:
            found = [certain for words, certain in reasons.items() if told["about"] in words]
            assert found == [told["certain"] == "yes"], (told["about"], reasons)
    for about in expected.get("not_about", ()):
        assert not [words for words in reasons if about in words]


def test_supervision(demo: Planned) -> None:
    expected, supervision = demo.expected["supervision"], demo.plan.supervision
    assert supervision.stage == demo.case.planned_stage
    mode = MODES.index(supervision.mode)
    assert supervision.mode == expected.get("mode", supervision.mode)
    assert supervision.by == expected.get("by", supervision.by)
    assert MODES.index(expected.get("at_least", MODES[0])) <= mode <= MODES.index(expected.get("at_most", MODES[-1]))
    if "no_trainee_steps" in expected:
        assert not supervision.trainee_steps and {step.who for step in demo.plan.steps} == {"supervisor"}
    if supervision.mode == "consultant-operates":
        by_consultant = {step.id for step in demo.plan.steps if step.who == "supervisor"}
        assert by_consultant, "the consultant operates, and no step is the consultant's"
    by_trainee = {step.id for step in demo.plan.steps if step.who == "trainee"}
    assert set(expected.get("trainee_takes", ())) <= by_trainee
    assert not set(expected.get("trainee_never", ())) & by_trainee


def test_choices(demo: Planned) -> None:
    wrong: dict[str, Any] = {}
    for name, told in demo.expected.get("choices", {}).items():
        chosen = demo.plan.choices[name]
        provisional = chosen.provisional == (told["provisional"] == "yes") if "provisional" in told else True
        words = " ".join((chosen.label, *chosen.way.do, chosen.prepared_as or "")).lower()
        unsaid = [word for word in told.get("says", ()) if word.lower() not in words]
        gates = {
            (finding, gate.option)
            for gate in chosen.if_found
            if not gate.once_clear and (not gate.together or len(gate.findings) == 1)
            for finding in gate.findings
        }
        ungated = [gate for gate in told.get("if_found", ()) if (gate["finding"], gate["option"]) not in gates]
        fits = chosen.option == told.get("option", chosen.option) and chosen.option not in told.get("not_options", ())
        if not fits or not provisional or unsaid or ungated:
            wrong[name] = (chosen.option, chosen.provisional, unsaid, ungated, told["expects"])
    assert not wrong


def test_drills_that_come_first(demo: Planned) -> None:
    """At most three drills are likely in one eye, and they come first; the first is the one for the wall card."""
    likely = [drill.id for drill in demo.plan.drills if drill.likely]
    assert [drill.id for drill in demo.plan.drills[: len(likely)]] == likely and len(likely) <= 3
    assert set(demo.expected.get("drills", ())) <= set(likely)
    if "first_drill" in demo.expected:
        assert demo.plan.drills[0].id == demo.expected["first_drill"]["id"]


def test_cautions(demo: Planned) -> None:
    texts = [caution.text.lower() for caution in demo.plan.cautions]
    for told in demo.expected.get("cautions", ()):
        assert any(told["about"] in text for text in texts), (told["about"], texts)


def test_drugs(demo: Planned) -> None:
    """What is withheld is seen to be withheld: in the drug table, or as a rule that says what to do instead."""
    expected = demo.expected.get("drugs", {})
    states = {drug.id: drug.state for drug in demo.plan.drugs}
    ruled_out = {rule.about.lower() for rule in demo.plan.rules if rule.force == "withhold" and rule.certain}
    for drug in expected.get("withheld", ()):
        assert states.get(drug, "withheld") == "withheld", drug
        assert drug in states or drug in ruled_out, f"nothing shows that {drug} is withheld"
    for drug in expected.get("not_withheld", ()):
        assert states.get(drug) == "as-prescribed", drug
    for drug in expected.get("not_given", ()):
        assert states.get(drug, "withheld") == "withheld", drug


def test_missing(demo: Planned) -> None:
    expected = demo.expected.get("missing", {})
    missing = {finding.finding: finding.settles_tier for finding in demo.assessment.missing}
    assert set(expected.get("named", ())) <= set(missing)
    for finding in expected.get("settles_tier", ()):
        assert missing[finding]
    if "no_single_finding_settles_tier" in expected:
        assert not any(missing.values())
    assert len(missing) <= int(expected.get("at_most", len(missing)))


def test_looks(demo: Planned, rulebook: Rulebook) -> None:
    """Where to look for what is missing: one sitting by one person each, and every missing finding at its own."""
    expected, looks = demo.expected.get("looks", {}), demo.assessment.looks
    names = [look.look for look in looks]
    assert len(names) == len(set(names)) <= int(expected.get("at_most", len(names)))
    assert set(expected.get("named", ())) <= set(names)
    if "first" in expected:
        assert names[0] == expected["first"]
    for look in looks:
        found = [rulebook.vocabulary.by_id[name] for name in look.findings]
        assert found and all(look.look in (finding.look, finding.look_when_hidden) for finding in found)
        assert look.who and look.minutes > 0


def test_kit_and_queries(demo: Planned) -> None:
    lacking = {item.id for item in demo.plan.kit if item.lacking and item.need != "preferred"}
    assert set(demo.expected.get("kit", {}).get("lacking", ())) <= lacking
    for finding in demo.expected.get("queries", ()):
        assert finding in {query.finding for query in demo.case.queries}


def test_readiness_without_the_units_kit_list(plan_of: Callable[[str], Planned], rulebook: Rulebook) -> None:
    """The item that the unit lacks is the only thing in the way: no unit, no reason."""
    planned = plan_of("kit-lacking")
    told = planned.expected["readiness"]["without_unit"]["state"]
    assert make_plan(assess(planned.case, rulebook, None, None), rulebook).assessment.readiness.state == told


@pytest.mark.parametrize("eye", ["right", "left"])
def test_both_eyes_are_shown(plan_of: Callable[[str], Planned], names: list[str], eye: str) -> None:
    assert sum(plan_of(name).case.eye == eye for name in names) >= len(names) // 3


def test_no_two_cases_share_tier_and_choices(plan_of: Callable[[str], Planned], names: list[str]) -> None:
    """Of a case with too little on record for a technique there is none to tell apart."""
    met: dict[tuple[object, ...], str] = {}
    for name in names:
        planned = plan_of(name)
        tier = planned.assessment.tier
        if tier.on_record is None:
            continue
        result = (
            tier.on_record,
            tier.working,
            tuple(sorted((c.choice, c.option) for c in planned.plan.choices.values())),
        )
        assert result not in met, f"{name} and {met[result]} come out alike"
        met[result] = name


def test_a_patient_with_two_eyes_is_shown(plan_of: Callable[[str], Planned], names: list[str]) -> None:
    eyes: dict[str | None, set[str]] = {}
    for name in names:
        case = plan_of(name).case
        eyes.setdefault(case.patient, set()).add(case.eye)
    assert sum(patient is not None and both == {"right", "left"} for patient, both in eyes.items()) >= 2


def test_every_stage_is_shown(plan_of: Callable[[str], Planned], names: list[str], rulebook: Rulebook) -> None:
    assert {plan_of(name).case.planned_stage for name in names} == {stage.id for stage in rulebook.stages.stages}


def test_the_unit_has_a_trainee_of_every_stage_and_one_stepped_down_by_a_break(unit: Unit, rulebook: Rulebook) -> None:
    stages = {trainee.id: unit.stage_of(trainee.id, rulebook) for trainee in unit.trainees}
    assert set(stages.values()) == {stage.id for stage in rulebook.stages.stages}
    # trainee-4 has done more than trainee-5 and has been away for thirty weeks.
    order = [stage.id for stage in rulebook.stages.stages]
    assert order.index(stages["trainee-4"]) < order.index(stages["trainee-5"])
