"""What is prepared: an option that can win, and that no withhold forbids in any eye the case may turn out to be.

Completions are drawn at random here and judged complete, without the search that the program itself uses.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from pathlib import Path

from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.assess.compiled import Values
from planner.plan.make import make_plan
from planner.plan.plan import Chosen
from planner.rulebook.load import load
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder


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


def test_nothing_prepared_meets_a_withhold_that_may_hold(ready: Assessor, rulebook: Rulebook) -> None:
    compiled = ready.compiled
    judged = withheld = 0
    for seed in range(150):
        draw = random.Random(seed)
        values = complete_values(compiled, draw, (0.6, 0.8, 0.9)[seed % 3])
        partial = [None if draw.random() < 0.12 else value for value in values]
        plan = make_plan(assess(as_case(compiled, partial), rulebook), rulebook)
        prepared = {f"{chosen.choice}.{chosen.option}" for chosen in plan.choices.values()}
        for complete in (values, *completions(ready, partial, draw, 15)):
            truths, _ = compiled.core(complete)
            lines = compiled.rest(complete, truths, compiled.options(complete, truths))
            for rule in rulebook.interactions.rules:
                if rule.force == "withhold" and "option" in rule.of and lines[compiled.rest_place[f"rule:{rule.id}"]]:
                    withheld += 1
                    assert rule.of["option"] not in prepared, (seed, rule.id)
            judged += 1
    assert judged > 1000 and withheld > 1000


def test_every_winner_of_a_completion_is_prepared_or_named_as_possible(ready: Assessor, rulebook: Rulebook) -> None:
    compiled = ready.compiled
    for seed in range(60):
        draw = random.Random(1000 + seed)
        values = complete_values(compiled, draw, 0.85)
        partial = [None if draw.random() < 0.12 else value for value in values]
        plan = make_plan(assess(as_case(compiled, partial), rulebook), rulebook)
        shown = {
            (chosen.choice, option)
            for chosen in plan.choices.values()
            for option in (chosen.option, *(other.option for other in chosen.rejected if other.possible))
        }
        for complete in (values, *completions(ready, partial, draw, 10)):
            options = compiled.options(complete, compiled.core(complete)[0])
            won = {
                tuple(name.removeprefix("option:").split("."))
                for name, place in compiled.option_place.items()
                if name.startswith("option:") and options[place]
            }
            assert won <= shown, (seed, won - shown)


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


RULE = """rules:
  - id: deliberately-open
    force: withhold
    when: {finding: latex_allergy, is: yes}
    of: {option: capsule-opening.decompress-then-two-stage}
    text: An invented line.
    instead: another way
    hazard: invented
    basis: common-practice
"""


def test_the_cautious_option_gives_way_where_a_line_may_hold_against_it(tmp_path: Path) -> None:
    """With one line added to the shipped rules, which alone never bring this about."""
    folder = Path(shutil.copytree(rules_folder(), tmp_path / "rules"))
    path = folder / "interactions.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("rules:\n", RULE, 1), encoding="utf-8")
    changed = load(folder)
    assert [rule.id for rule in changed.withheld["capsule-opening.decompress-then-two-stage"]] == ["deliberately-open"]

    def prepared(latex: str) -> Chosen:
        eye = plain_eye(changed, **{**WHITE, "cortex": "not-recorded"}, latex_allergy=latex)
        return make_plan(assess(eye, changed), changed).choices["capsule-opening"]

    assert prepared("no").option == "decompress-then-two-stage"
    for latex in ("not-recorded", "yes"):
        assert prepared(latex).option != "decompress-then-two-stage"
    against = {other.option: other for other in prepared("yes").rejected}["decompress-then-two-stage"]
    assert not against.possible and against.because == "withheld: An invented line."
