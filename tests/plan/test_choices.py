"""What is written: an option that can win, and what would have to be found for each other that can.

Completions are drawn at random here and judged complete, without the search that the program itself uses.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.assess.compiled import Values
from planner.case import Case
from planner.plan.make import make_plan
from planner.plan.picture import Picture
from planner.rulebook.rulebook import Rulebook


def completions(ready: Assessor, partial: Values, draw: random.Random, tries: int) -> Iterator[Values]:
    """Some of the complete eyes that a partly recorded case allows."""
    compiled = ready.compiled
    later = sorted(range(len(partial)), key=lambda place: len(compiled.depends_of_asked(place)) > 0)
    for _ in range(tries):
        values = list(partial)
        for place in later:
            applies = place not in compiled.asked_tests or compiled.asked_tests[place](values)
            if values[place] is None and compiled.cells[place] and applies:
                values[place] = draw.choice(compiled.cells[place])
        truths, _ = compiled.core(values)
        if not any(truths[place] for place in ready.completions.pair_places):
            yield values


def partly(ready: Assessor, seed: int, mild: float) -> tuple[Case, Picture, random.Random]:
    """A partly recorded case with enough on record for a technique, blank preferences planned as plain."""
    draw = random.Random(seed)
    values = complete_values(ready.compiled, draw, mild)
    needed = {ready.compiled.index[name] for name in ready.rulebook.vocabulary.on_record_needs}
    partial = [None if place not in needed and draw.random() < 0.12 else v for place, v in enumerate(values)]
    case = as_case(ready.compiled, partial)
    return case, Picture(ready, case), draw


def test_what_may_be_withheld_is_written_only_above_a_gate_and_never_where_it_is_strict(
    ready: Assessor, rulebook: Rulebook
) -> None:
    compiled = ready.compiled
    gated = judged = 0
    for seed in range(150):
        case, picture, draw = partly(ready, seed, (0.6, 0.8, 0.9)[seed % 3])
        plan = make_plan(assess(case, rulebook), rulebook)
        for complete in completions(ready, picture.values, draw, 15):
            judged += 1
            truths, _ = compiled.core(complete)
            options = compiled.options(complete, truths)
            lines = compiled.rest(complete, truths, options)
            for rule in rulebook.interactions.rules:
                if (
                    rule.force != "withhold"
                    or "option" not in rule.of
                    or not lines[compiled.rest_place[f"rule:{rule.id}"]]
                ):
                    continue
                choice, option = rulebook.option(rule.of["option"])
                chosen = plan.choices[choice.id]
                if chosen.option == option.id:
                    assert not option.strict, (seed, rule.id)
                    won = next(
                        o.id for o in choice.options if options[compiled.option_place[f"option:{choice.id}.{o.id}"]]
                    )
                    assert won in {gate.option for gate in chosen.if_found}, (seed, rule.id, won)
                    gated += 1
    assert judged > 1000 and gated > 10


def test_every_winner_of_a_completion_is_written_or_has_a_gate(ready: Assessor, rulebook: Rulebook) -> None:
    compiled = ready.compiled
    for seed in range(60):
        case, picture, draw = partly(ready, 1000 + seed, 0.85)
        plan = make_plan(assess(case, rulebook), rulebook)
        shown = {
            (chosen.choice, option)
            for chosen in plan.choices.values()
            for option in (chosen.option, *(gate.option for gate in chosen.if_found))
        }
        for complete in completions(ready, picture.values, draw, 10):
            options = compiled.options(complete, compiled.core(complete)[0])
            won = {
                tuple(name.removeprefix("option:").split("."))
                for name, place in compiled.option_place.items()
                if name.startswith("option:") and options[place]
            }
            assert won <= shown, (seed, won - shown)


def test_a_gate_names_what_brings_its_option(ready: Assessor, rulebook: Rulebook) -> None:
    """Each finding of a gate, found in the eye that is otherwise plain, makes its option win; judged complete."""
    compiled, tried = ready.compiled, 0
    for seed in range(60):
        case, picture, _ = partly(ready, 2000 + seed, 0.9)
        plain = picture.plain
        assert plain is not None
        for chosen in make_plan(assess(case, rulebook), rulebook).choices.values():
            for gate in chosen.if_found:
                if gate.together or gate.once_clear:
                    continue
                place = compiled.option_place[f"option:{chosen.choice}.{gate.option}"]
                for name in gate.findings:
                    variants = [one for one in picture.variants if one.place == compiled.index[name]]
                    brought = [one for one in variants if one.eye.options[place]]
                    assert brought, (seed, chosen.choice, gate.option, name)
                    for one in brought:
                        values = one.eye.values
                        assert compiled.options(values, compiled.core(values)[0])[place] is True
                        tried += 1
    assert tried > 100


def test_the_technique_on_record_is_written_where_what_would_change_it_can_be_seen_first(rulebook: Rulebook) -> None:
    """Common practice: a polar opacity can be looked for under the microscope before any fluid, through a lens that is
    only partly opaque. Behind a white lens it cannot: nobody plans every white lens as polar, so the gate stands for
    when it comes into view. Guttata cannot be looked for in theatre at all, and the cautious OVD is written."""
    partial = make_plan(assess(plain_eye(rulebook, posterior_polar_opacity="not-recorded"), rulebook), rulebook)
    hydro = partial.choices["hydro"]
    assert hydro.option == "full-hydro"
    (gate,) = [gate for gate in hydro.if_found if gate.findings == ("posterior_polar_opacity",)]
    assert gate.option == "delineation-only" and gate.seen
    white = {**WHITE, "posterior_polar_opacity": "not-recorded"}
    hydro = make_plan(assess(plain_eye(rulebook, **white), rulebook), rulebook).choices["hydro"]
    assert hydro.option == "small-waves"
    (gate,) = [gate for gate in hydro.if_found if gate.option == "delineation-only"]
    assert gate.findings == ("posterior_polar_opacity",) and not gate.seen
    assert gate.before == rulebook.theatre.once_in_view
    ovd = make_plan(assess(plain_eye(rulebook, guttata="not-recorded"), rulebook), rulebook).choices["ovd"]
    assert ovd.option == "soft-shell" and ovd.prepared_as
    assert [(gate.option, gate.findings, gate.once_clear) for gate in ovd.if_found if gate.once_clear] == [
        ("standard-cohesive", ("guttata",), True)
    ]


def test_a_blank_preference_changes_nothing_but_the_drug_that_it_may_bar(rulebook: Rulebook) -> None:
    said = plain_eye(rulebook, anaesthesia_requested="topical", planned_lens_material="hydrophobic-acrylic")
    blank = plain_eye(rulebook, anaesthesia_requested="not-recorded", planned_lens_material="not-recorded")
    plans = [make_plan(assess(eye, rulebook), rulebook) for eye in (said, blank)]
    assert plans[0].choices == plans[1].choices
    assert [plan.assessment.tier for plan in plans[:1]] == [plan.assessment.tier for plan in plans[1:]]


def test_too_little_on_record_writes_no_technique(rulebook: Rulebook) -> None:
    plan = make_plan(assess(plain_eye(rulebook, axial_length_mm="not-recorded"), rulebook), rulebook)
    assert plan.assessment.tier.on_record is None
    opening = next(step for step in plan.steps if step.id == "capsule-opening")
    assert opening.do == (rulebook.theatre.technique_not_written,) and not opening.gates


def test_a_complete_case_leaves_nothing_provisional(ready: Assessor, rulebook: Rulebook) -> None:
    for seed in range(60):
        case = as_case(ready.compiled, complete_values(ready.compiled, random.Random(seed), 0.85))
        plan = make_plan(assess(case, rulebook), rulebook)
        for chosen in plan.choices.values():
            assert not chosen.provisional and chosen.prepared_as is None and chosen.settled_by == ()
            assert not any(other.possible for other in chosen.rejected)


def test_an_unrecorded_cortex_prepares_for_a_tense_lens_and_says_what_would_settle_it(rulebook: Rulebook) -> None:
    white = {**WHITE, "cortex": "not-recorded"}
    chosen = make_plan(assess(plain_eye(rulebook, **white), rulebook), rulebook).choices["capsule-opening"]
    assert (chosen.option, chosen.provisional) == ("decompress-then-two-stage", True)
    assert chosen.prepared_as
    assert rulebook.vocabulary.by_id["cortex"].label in chosen.settled_by
    settled = make_plan(
        assess(
            plain_eye(
                rulebook,
                **WHITE,
            ),
            rulebook,
        ),
        rulebook,
    ).choices["capsule-opening"]
    assert settled.option != "decompress-then-two-stage" and not settled.provisional


def test_a_withheld_option_stays_visible_with_its_reason(rulebook: Rulebook) -> None:
    eye = plain_eye(rulebook, posterior_polar_opacity="yes", polar_opacity_mm="3", nuclear_opalescence_locs3="5")
    plan = make_plan(assess(eye, rulebook), rulebook)
    hydro = plan.choices["hydro"]
    assert hydro.option == "delineation-only"
    against = {other.option: other.because for other in hydro.rejected}
    assert against["full-hydro"].startswith("withheld: ")
    (line,) = [line for line in plan.rules if line.id == "polar-no-hydrodissection"]
    assert line.certain and line.instead and line.hazard
