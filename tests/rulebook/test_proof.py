"""The shipped rulebook keeps its promises, and the proof speaks of the rulebook that the engine runs.

The formulas are held to the engine, which reads the same conditions another way; what is proved is looked for again by
the engine in drawn cases.
"""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest
import z3
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess, assessor
from planner.assess.compiled import Compiled
from planner.case import STAGES
from planner.harm import harm, is_worse
from planner.plan.make import make_plan
from planner.rulebook.proof.example import ValuesToTry
from planner.rulebook.proof.inquiry import Bench
from planner.rulebook.proof.report import Proof
from planner.rulebook.proof.symbols import Symbols
from planner.rulebook.proof.variables import is_so
from planner.rulebook.proof.worsening import CasePair, directed
from planner.rulebook.prove import CLAIMS, prove
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, TIERS
from planner.vocabulary import Finding, Outside

SPARSELY = 4


@pytest.fixture(scope="module")
def proof(rulebook: Rulebook) -> Proof:
    return prove(rulebook, plain_eye=assessor(rulebook).completions.plain)


@pytest.fixture(scope="module")
def bench(rulebook: Rulebook) -> Bench:
    return Bench(rulebook)


@pytest.fixture(scope="module")
def drawn(ready: Assessor) -> list[list[Any]]:
    draw, plain = random.Random(20260105), ValuesToTry(ready.rulebook)
    full = [complete_values(ready.compiled, draw) for _ in range(30)]
    nearly_plain = [remarkable_in(draw.randint(0, 3), ready.compiled, plain, draw) for _ in range(60)]
    return [recorded_in_full(ready.compiled, plain, values) for values in (*nearly_plain, *full)]


def remarkable_in(some: int, compiled: Compiled, plain: ValuesToTry, draw: random.Random) -> list[Any]:
    """An unremarkable allowed case but for some findings: drawn in full, nearly every case is at the top tier."""
    findings = compiled.rulebook.vocabulary.findings
    places = [place for place in range(len(findings)) if compiled.cells[place] and place not in compiled.asked_tests]
    while True:
        values = [None if findings[p].asked_when else plain.values(findings[p])[0] for p in range(len(findings))]
        for place in draw.sample(places, some):
            values[place] = draw.choice(compiled.cells[place])
        truths, _ = compiled.core(recorded_in_full(compiled, plain, values))
        if not any(truths[compiled.place[name]] for name in compiled.core_names if name.startswith("impossible:")):
            return values


def recorded_in_full(compiled: Compiled, plain: ValuesToTry, values: list[Any]) -> list[Any]:
    """Whatever applies and is missing recorded as well: what no condition compares is not drawn."""
    for place, finding in enumerate(compiled.rulebook.vocabulary.findings):
        applies = place not in compiled.asked_tests or compiled.asked_tests[place](values)
        if values[place] is None and applies:
            values[place] = plain.values(finding)[0]
    return values


def model_of(bench: Bench, values: list[Any]) -> z3.ModelRef:
    """The solver's model of a complete case; that there is one says that the solver allows the case."""
    case, fixed = bench.case, []
    for finding, value in zip(bench.rulebook.vocabulary.findings, values, strict=True):
        if value is not None:
            fixed += [case.recorded[finding.id], case.variables[finding.id].equals(value)]
        elif finding.asked_when is not None:
            fixed.append(z3.Not(case.recorded[finding.id]))
    model = bench.prover.find(*fixed)
    assert model is not None
    return model


@pytest.mark.long
def test_the_shipped_rulebook_proves(proof: Proof) -> None:
    against = [(claim.id, example.says) for claim in proof.claims for example in claim.counter_examples]
    assert against == []
    assert [claim.id for claim in proof.claims if claim.undecided] == []
    assert [claim.id for claim in proof.claims] == list(CLAIMS)
    assert proof.holds
    assert proof.seconds < 60


@pytest.mark.long
def test_the_proof_says_over_which_ranges_and_what_is_not_claimed(proof: Proof, rulebook: Rulebook) -> None:
    ranges, not_claimed = " ".join(proof.ranges), " ".join(proof.not_claimed)
    for finding in rulebook.vocabulary.findings:
        if finding.possible is not None:
            assert f"{finding.id} {finding.possible[0]:g} to {finding.possible[1]:g}" in ranges
        if finding.worse == "none":
            assert finding.id in not_claimed


@pytest.mark.long
def test_each_table_says_what_it_does_not_cover(proof: Proof) -> None:
    notes = {claim.id: claim.notes for claim in proof.claims}
    # The published table runs from 5 to 30 D in steps of 0.5 D; the other two have open ends.
    [hill, *others] = notes["sulcus-rows-apart"]
    assert hill.startswith("Hill, not covered: below 5 D; ") and hill.endswith("; above 30 D")
    assert all(other.endswith("not covered: nothing") for other in others)
    assert "Age, left at the reference: below 60 years" in notes["levels-apart"]


@pytest.mark.long
def test_formulas_agree_with_the_engine_on_every_condition(
    bench: Bench, ready: Assessor, drawn: list[list[Any]]
) -> None:
    made = ready.compiled
    for values in drawn:
        model = model_of(bench, values)
        truths, _ = made.core(values)
        options = made.options(values, truths)
        found = [*truths, *options, *made.rest(values, truths, options)]
        for (name, condition), truth in zip(made.conditions.items(), found, strict=True):
            assert is_so(model, bench.case.holds(condition)) is truth, (name, values)


def test_formulas_agree_with_the_engine_on_points_tier_and_supervision(
    bench: Bench, ready: Assessor, rulebook: Rulebook, drawn: list[list[Any]]
) -> None:
    reached = bench.totals.tier_at_least(bench.case)
    points = bench.totals.total(bench.case, bench.totals.sums["points"])
    supervision = {stage: bench.totals.supervision(bench.case, stage) for stage in STAGES}
    looked_at = set()
    refused = [*drawn[0]]
    refused[ready.compiled.index["trainee_involvement_agreed"]] = False
    for values in (*drawn[::SPARSELY], refused):
        model = model_of(bench, values)
        assessment = assess(as_case(ready.compiled, values), rulebook)
        assert float(model.eval(points).as_fraction()) == assessment.points.most == assessment.points.least
        assert max(tier for tier in TIERS if is_so(model, reached[tier])) == assessment.tier.working
        for stage in STAGES:
            [cell] = [cell for cell, holds in supervision[stage] if is_so(model, holds)]
            planned = make_plan(assessment, rulebook, stage=stage).supervision
            assert (cell.supervised.mode, cell.supervised.by) == (planned.mode, planned.by)
            looked_at.add((planned.mode, planned.by))
    assert {mode for mode, _ in looked_at} == set(MODES)


def test_the_solver_refuses_what_a_case_may_not_hold(bench: Bench) -> None:
    def case(**findings: Any) -> list[Any]:
        recorded = [bench.case.recorded[name] for name in findings]
        return recorded + [bench.case.variables[name].equals(value) for name, value in findings.items()]

    assert bench.prover.find(*case(diabetes=False, diabetic_retinopathy=True)) is None
    assert bench.prover.find(*case(axial_length_mm=40.5)) is None
    assert bench.prover.find(*case(glaucoma="open-angle"), z3.Not(bench.case.recorded["glaucoma_advanced"])) is None
    assert bench.prover.find(*case(glaucoma="none"), z3.Not(bench.case.recorded["glaucoma_advanced"])) is not None


def test_every_finding_with_a_direction_can_be_made_worse(bench: Bench, rulebook: Rulebook) -> None:
    for finding in directed(rulebook):
        assert bench.prover.find(*CasePair(bench, finding).relation) is not None, finding.id


def test_worse_follows_the_direction_the_vocabulary_states(bench: Bench, rulebook: Rulebook, ready: Assessor) -> None:
    """Against `harm`, by which the engine orders values; across the sides of a range, or of two sets neither of which
    holds the other, nothing is claimed. The finite checks compare values as the formulas do.
    """
    for finding in directed(rulebook):
        before, after = bench.case, Symbols(rulebook, "other", bench.case, {finding.id})
        worse = after.variables[finding.id].worse_than(before.variables[finding.id])
        solver = z3.Solver()
        solver.add(worse)
        cells = ready.compiled.cells[ready.compiled.index[finding.id]]
        for one, other in itertools.permutations(cells, 2):
            values = before.variables[finding.id].equals(one), after.variables[finding.id].equals(other)
            claimed = solver.check(*values) == z3.sat
            assert claimed is is_worse(finding, other, one), (finding.id, one, other)
            compared = not unordered(finding, one, other)
            assert claimed is (compared and harm(finding, other) > harm(finding, one)), (finding.id, one, other)


def unordered(finding: Finding, one: Any, other: Any) -> bool:
    if finding.worse == "more":
        return not (one <= other or other <= one)
    if not isinstance(finding.worse, Outside):
        return False
    low, high = finding.worse.outside
    return min(one, other) < low and max(one, other) > high


def test_the_engine_finds_no_better_in_worse_either(ready: Assessor, drawn: list[list[Any]]) -> None:
    """One finding of each drawn case moved to a worse cell: points and tier by the engine alone."""
    made, draw, moved = ready.compiled, random.Random(7), 0
    at = list(made.totals).index("points")
    pairs = [made.place[name] for name in made.core_names if name.startswith("impossible:")]
    for values in drawn:
        for place, finding in enumerate(made.rulebook.vocabulary.findings):
            if finding.worse == "none" or values[place] is None or isinstance(finding.worse, Outside):
                continue
            cells = [cell for cell in made.cells[place] if harm(finding, cell) > harm(finding, values[place])]
            if not cells:
                continue
            worse = [*values]
            worse[place] = draw.choice(cells)
            # What applies only now is left missing: the least over its completions must not be lower either.
            truths, bounds = made.core(worse)
            if any(truths[pair] for pair in pairs):
                continue
            moved += 1
            was = made.core(values)[1]
            assert bounds[at][0] >= was[at][1], finding.id
            low = ready.objectives.tier.bounds(worse, truths, bounds)[0]
            assert low >= ready.objectives.tier.bounds(values, truths, was)[1], finding.id
    assert moved > 500
