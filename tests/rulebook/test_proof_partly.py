"""Deliberate faults that only a partly recorded case shows: every claim of complete cases still holds.

A withhold put against the very option that another withhold falls back on, for the eyes in which it would not win: a
complete case never meets it, and a case that lacks the finding they turn on has no option left that is free of one.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
from faulty_rules import Edit, as_filed, broken
from plain_eye import plain_eye
from random_cases import as_case, complete_values, partly_recorded
from seeds import draws, some_of

from planner.assess.assess import Assessor, assess, assessor
from planner.plan.choices import Picture, choose, possible_winners
from planner.plan.make import make_plan
from planner.rulebook.load import load
from planner.rulebook.prove import CLAIMS, prove
from planner.rulebook.rulebook import Rulebook

CLAIM = "prepared-not-withheld"
# The claim itself and one of complete cases, with --long all of these.
ASKED = draws([CLAIM, "one-winner"], list(CLAIMS))
RULE = """rules:
  - id: deliberate-fault
    force: withhold
    when: {when}
    of: {{option: {option}}}
    text: A deliberate fault.
    instead: the usual way
    hazard: none
    basis: common-practice
"""
FAULTS = {
    "antisepsis.chlorhexidine-by-policy": "{finding: iodine_allergy, is: no}",
    "antibiotic.none-intracameral": "{finding: quinolone_allergy, is: no}",
    "hydro.delineation-only": "{not: {any: [{factor: posterior-polar-opacity}, {factor: suspected-capsule-breach}]}}",
}


def may_hold(picture: Picture, line: str) -> bool:
    """Whether a line holds in at least one allowed completion."""
    truth = picture.truth(line)
    return picture.assessor.may_hold(picture.values, line) if truth is None else truth


def fault_against(option: str) -> Edit:
    return Edit("interactions.yaml", "rules:\n", RULE.format(when=FAULTS[option], option=option))


@pytest.mark.parametrize("option", some_of(list(FAULTS), "hydro.delineation-only"))
def test_only_a_partly_recorded_case_shows_the_fault(tmp_path: Path, option: str) -> None:
    rulebook = load(broken(tmp_path, fault_against(option)))
    proof = prove(rulebook, only=ASKED)
    assert {claim.id: claim.state for claim in proof.claims} == {
        name: "refuted" if name == CLAIM else "proved" for name in ASKED
    }
    [claim] = [claim for claim in proof.claims if claim.id == CLAIM]
    for example in claim.counter_examples:
        assert "deliberate-fault" in example.says
        choice_id, _ = option.split(".")
        plan = make_plan(assess(as_filed(example, rulebook), rulebook), rulebook)
        chosen = plan.choices[choice_id]
        against = {rule.id for rule in rulebook.withheld.get(f"{choice_id}.{chosen.option}", [])}
        # What is prepared meets a line that may hold, and the plan itself prints it as such.
        assert chosen.provisional
        assert {rule.certain for rule in plan.rules if rule.id in against} == {False}
        # Nor would another winner do: each meets one that holds in some completion.
        picture = Picture(assessor(rulebook), as_filed(example, rulebook))
        for winner in possible_winners(picture, rulebook.choices[choice_id]):
            rules = rulebook.withheld[f"{choice_id}.{winner.id}"]
            assert any(may_hold(picture, f"rule:{rule.id}") for rule in rules)


def test_a_ring_of_withholds_is_no_fault_where_an_option_free_of_them_stays_possible(tmp_path: Path) -> None:
    # Cefuroxime gives way to moxifloxacin in an allergy, moxifloxacin to it in none; but where both can still be, so
    # can both allergies together, and then nothing is given, which no line withholds.
    allergic = "{any: [{finding: cephalosporin_allergy, is: yes}, {finding: penicillin_anaphylaxis, is: yes}]}"
    when = f"{{all: [{{not: {allergic}}}, {{finding: quinolone_allergy, is: yes}}]}}"
    fault = Edit("interactions.yaml", "rules:\n", RULE.format(when=when, option="antibiotic.moxifloxacin-by-policy"))
    [claim] = prove(load(broken(tmp_path, fault)), only=[CLAIM]).claims
    assert claim.state == "proved"


def test_a_drug_is_planned_plainly_only_where_no_completion_bars_it(rulebook: Rulebook, ready: Assessor) -> None:
    """What the proof leaves to the engine's three-valued logic, looked for in drawn cases that lack findings."""
    draw, seen = random.Random(11), Counter[str]()
    for _ in range(12):
        values = complete_values(ready.compiled, draw)
        case = as_case(ready.compiled, [value if draw.random() < 0.7 else None for value in values])
        picture = Picture(ready, case)
        for drug in make_plan(assess(case, rulebook), rulebook).drugs:
            seen[drug.state] += 1
            against = next(entry for entry in rulebook.kit.drugs if entry.id == drug.id).withhold
            if drug.state == "as-prescribed":
                assert not any(may_hold(picture, f"drug:{drug.id}:{bar.id}") for bar in against)
            elif drug.state == "withheld":
                assert any(picture.truth(f"drug:{drug.id}:{bar.id}") for bar in against)
                assert all(instead.strip() for instead in drug.instead)
    assert min(seen[state] for state in ("as-prescribed", "withheld", "not-until-checked")) > 0


def test_a_strict_option_that_is_written_meets_no_withhold_that_may_hold(rulebook: Rulebook, ready: Assessor) -> None:
    """What the claim says of possible winners, looked for in what the plan writes."""
    draw, kept_back = random.Random(17), 0
    for _ in range(60):
        values = partly_recorded(ready.compiled, draw, draw.choice((0.7, 0.9)), draw.choice((0.1, 0.3)))
        picture = Picture(ready, as_case(ready.compiled, values))
        for name, chosen in choose(picture).items():
            choice = rulebook.choices[name]
            option = next(option for option in choice.options if option.id == chosen.option)
            against = rulebook.withheld.get(f"{name}.{option.id}", [])
            if option.strict:
                assert not any(may_hold(picture, f"rule:{rule.id}") for rule in against), (name, option.id)
            winners = possible_winners(picture, choice)
            kept_back += not option.strict and any(winner.strict for winner in winners)
    assert kept_back > 5


def test_a_block_gives_way_to_what_no_line_may_withhold(tmp_path: Path) -> None:
    """The one block asked for, barred by an allergy that could still be asked about on the day."""
    when = "{finding: latex_allergy, is: yes}"
    fault = Edit("interactions.yaml", "rules:\n", RULE.format(when=when, option="anaesthesia.sub-tenon"))
    rulebook = load(broken(tmp_path, fault))
    written = {}
    for latex in ("no", "not-recorded"):
        case = plain_eye(rulebook, anaesthesia_requested="sub-tenon", latex_allergy=latex)
        written[latex] = make_plan(assess(case, rulebook), rulebook).choices["anaesthesia"].option
    assert written["no"] == "sub-tenon"
    assert not rulebook.withheld.get(f"anaesthesia.{written['not-recorded']}", [])
