"""The odds model: probability, what it does not count, and re-centring on a unit's own audit.

Odds ratios marked seen are those of Narendran et al., Eye 2009;23:31, as reprinted in a letter, Eye 2010, eye2009121a.
What is called derived was worked out by hand from them and from recalled rows, and was printed nowhere.
"""

from __future__ import annotations

import itertools
import math
import random
from pathlib import Path

import pytest
from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.assess.assessment import Recentred
from planner.assess.odds import baseline_for_rate, recentre, shrunk
from planner.errors import PlannerError
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import OddsModel
from planner.unit import Audit, Unit, read_unit


def odds(probability: float) -> float:
    return probability / (1 - probability)


def probability_for(rulebook: Rulebook, operator: str, **findings: str) -> float:
    """The probability of a fully recorded eye for one operator."""
    shown = assess(plain_eye(rulebook, **findings), rulebook).probability.by_operator[operator]
    assert shown.least == pytest.approx(shown.most)
    return shown.most


def audit(events: int, cases: int) -> Audit:
    return Audit(period="an invented year", events=events, cases=cases, case_mix="assumed")


def recentred(model: OddsModel, held: Audit) -> Recentred:
    found = recentre(model, held)
    assert found is not None
    return found


def unit_with(events: int, cases: int) -> Unit:
    return Unit(unit="invented", audit=audit(events, cases))


# -- the formula ------------------------------------------------------------------------------------------------------


def test_all_reference_levels_give_the_baseline(rulebook: Rulebook) -> None:
    # 0.75 %, recalled as the low end of the printed range.
    assert probability_for(rulebook, "consultant") == pytest.approx(0.0075)


@pytest.mark.parametrize(
    ("operator", "findings", "ratios", "percent"),
    [
        # Derived: a woman of 75 with a junior trainee, 3.9 %; a woman of 82 with a white lens and a consultant, 3.4 %.
        ("early", {"age_years": "75"}, (1.42, 3.73), 3.9),
        ("consultant", {"age_years": "82", **WHITE}, (1.58, 2.99), 3.4),
        # The same by hand: 0.0075 / 0.9925 = 0.0075567; times 1.28 x 2.92 x 1.45 x 1.6 = 0.065527; over 1.065527.
        ("middle", {"sex": "male", "pseudoexfoliation": "yes", "dilated_pupil_mm": "4"}, (1.28, 2.92, 1.45, 1.6), 6.1),
    ],
)
def test_eyes_worked_by_hand(
    rulebook: Rulebook, operator: str, findings: dict[str, str], ratios: tuple[float, ...], percent: float
) -> None:
    found = probability_for(rulebook, operator, **findings)
    product = 0.0075 / 0.9925 * math.prod(ratios)
    assert found == pytest.approx(product / (1 + product))
    assert 100 * found == pytest.approx(percent, abs=0.06)  # the derived figures are cut to one place


@pytest.mark.parametrize(
    ("findings", "ratio"),
    [
        ({"age_years": "93"}, 2.37),
        (WHITE, 2.99),
        ({"opacity": "total-brown", "fundus_view": "hazy", "red_reflex": "poor"}, 2.99),
        ({"pseudoexfoliation": "yes"}, 2.92),
        ({"phacodonesis": "yes"}, 2.92),
        ({"pseudoexfoliation": "yes", "phacodonesis": "yes"}, 2.92),  # one joint factor in the source
        ({"dilated_pupil_mm": "4.9"}, 1.45),
        ({"axial_length_mm": "26.1"}, 1.47),
    ],
)
def test_a_published_ratio_seen_multiplies_the_odds_of_every_operator(
    rulebook: Rulebook, findings: dict[str, str], ratio: float
) -> None:
    for operator in ("consultant", "fellow", "early"):
        with_it = odds(probability_for(rulebook, operator, **findings))
        assert with_it / odds(probability_for(rulebook, operator)) == pytest.approx(ratio)


def test_the_operator_only_scales_the_odds(rulebook: Rulebook) -> None:
    # Senior house officer against consultant: 3.73, seen.
    for findings in ({}, WHITE, {"age_years": "93", "sex": "male"}):
        by = {operator: odds(probability_for(rulebook, operator, **findings)) for operator in ("early", "consultant")}
        assert by["early"] / by["consultant"] == pytest.approx(3.73)


def test_a_white_lens_and_the_view_it_takes_away_count_once(rulebook: Rulebook) -> None:
    lost = {**WHITE, "fundus_view": "none", "posterior_segment_ultrasound": "normal"}
    both = odds(probability_for(rulebook, "consultant", **lost))
    assert both / odds(0.0075) == pytest.approx(2.99)  # not 2.99 x 2.46
    alone = {"fundus_view": "none", "red_reflex": "poor", "posterior_segment_ultrasound": "normal"}
    assert odds(probability_for(rulebook, "consultant", **alone)) / odds(0.0075) == pytest.approx(2.46)


def test_what_the_model_has_no_term_for_leaves_it_alone_and_is_named(rulebook: Rulebook) -> None:
    blind = {
        "posterior-polar-opacity": {"posterior_polar_opacity": "yes"},
        "shallow-chamber": {"anterior_chamber_depth_mm": "2.3"},
        "previous-vitrectomy": {"previous_vitrectomy": "yes", "silicone_oil": "no"},
        "intravitreal-injections": {"intravitreal_injections": "4"},
        "floppy-iris-risk": {"alpha_blocker_ever": "tamsulosin"},
    }
    for factor, findings in blind.items():
        shown = assess(plain_eye(rulebook, **findings), rulebook).probability
        assert shown.by_operator["consultant"].most == pytest.approx(0.0075), factor
        named = {missed.factor: missed for missed in shown.not_counted}
        assert named[factor].certain
        assert [rate.split(" (published")[0] for rate in named[factor].rate_words] == [
            rate.text for rate in rulebook.factors[factor].published_rates
        ]


def test_what_may_hold_unseen_by_the_model_is_named_too(rulebook: Rulebook) -> None:
    shown = assess(plain_eye(rulebook, anterior_chamber_depth_mm="not-recorded"), rulebook).probability
    assert {missed.factor: missed.certain for missed in shown.not_counted}["shallow-chamber"] is False
    assert assess(plain_eye(rulebook), rulebook).probability.not_counted == ()


def test_what_is_not_recorded_gives_a_range_from_its_least_to_its_most(rulebook: Rulebook) -> None:
    # Without the pupil a section that was looked through does not vouch for pseudoexfoliation, so it is said here.
    unknown = {"dilated_pupil_mm": "not-recorded", "sex": "not-recorded"}
    shown = assess(plain_eye(rulebook, pseudoexfoliation="no", **unknown), rulebook).probability
    consultant = shown.by_operator["consultant"]
    assert odds(consultant.least) / odds(0.0075) == pytest.approx(1)
    assert odds(consultant.most) / odds(0.0075) == pytest.approx(1.45 * 1.28)


# -- re-centring ------------------------------------------------------------------------------------------------------


def mean_over_the_mix(model: OddsModel, baseline: float) -> float:
    """The mean probability over the assumed mix, by summing over every combination of levels and operator."""
    rows = [[(level.odds_ratio, level.share or 0.0) for level in term.levels] for term in model.terms]
    rows.append([(operator.odds_ratio, operator.share or 0.0) for operator in model.operators])
    rows = [[*row, (1.0, 1 - sum(share for _, share in row))] for row in rows]
    total = 0.0
    for combination in itertools.product(*rows):
        share = math.prod(part for _, part in combination)
        if share:
            own = odds(baseline) * math.prod(ratio for ratio, _ in combination)
            total += share * own / (1 + own)
    return total


@pytest.mark.parametrize("rate", [0.0192, 0.0101, 0.0087, 0.05])
def test_the_baseline_for_a_rate_gives_that_rate(rulebook: Rulebook, rate: float) -> None:
    assert mean_over_the_mix(rulebook.odds, baseline_for_rate(rulebook.odds, rate)) == pytest.approx(rate, abs=1e-6)


def test_the_baseline_at_the_published_rate_is_near_the_one_derived(rulebook: Rulebook) -> None:
    # Derived: 0.733 % at 1.92 %, and 0.669 to 0.836 % over sixty random mixes within the same bounds. That mix has
    # two career grades with odds below 1, which the rulebook counts as consultants.
    found = baseline_for_rate(rulebook.odds, 0.0192)
    assert 0.00669 <= found <= 0.00836
    assert found == pytest.approx(0.00733, rel=0.03)


@pytest.mark.parametrize(("rate", "derived"), [(0.0101, 0.00381), (0.0087, 0.00328)])
def test_a_newer_overall_rate_shifts_the_baseline_as_derived(rulebook: Rulebook, rate: float, derived: float) -> None:
    # Derived from 0.733 % at 1.92 %: 0.381 % at 1.01 % and 0.328 % at 0.87 %. The program keeps the published 0.75 %
    # and takes over the shift alone, so the ratio of odds is what must agree.
    model = rulebook.odds
    direct = baseline_for_rate(model, rate)
    assert odds(direct) / odds(baseline_for_rate(model, 0.0192)) == pytest.approx(
        odds(derived) / odds(0.00733), rel=0.005
    )
    found = recentred(model, audit(round(rate * 1_000_000_000), 1_000_000_000)).baseline
    assert odds(found) / odds(0.0075) == pytest.approx(odds(derived) / odds(0.00733), rel=0.005)
    assert found == pytest.approx(derived, rel=0.03)


def test_a_unit_at_the_published_rate_keeps_the_published_baseline(rulebook: Rulebook) -> None:
    found = recentred(rulebook.odds, audit(192, 10_000))
    assert found.baseline == pytest.approx(0.0075)
    # By hand: 192 expected, and a prior worth 1 / 0.42 squared = 5.669 of them: 192 / 197.669.
    assert found.weight == pytest.approx(0.9713, abs=5e-5)


@pytest.mark.parametrize(
    ("events", "cases", "published", "percent", "weight"),
    [
        # By hand at 1.92 %: 3180 cases expect 61.056; 46.669 / (61.056 + 5.669) = 0.69942, times 1.92 % = 1.3429 %.
        (41, 3180, 0.0192, 1.3429, 0.9150),
        # The same unit against 1.01 %: 32.118 expected; 46.669 / 37.787 = 1.23506, times 1.01 % = 1.2474 %.
        (41, 3180, 0.0101, 1.2474, 0.8500),
        # No events in 30 cases are little evidence: 5.669 / 6.245 = 0.90777, times 1.92 % = 1.7429 %.
        (0, 30, 0.0192, 1.7429, 0.0922),
        # None in 5000 are some: 5.669 / 101.669 = 0.05576, times 1.92 % = 0.10706 %.
        (0, 5000, 0.0192, 0.10706, 0.9442),
    ],
)
def test_few_events_are_shrunk_towards_the_published_rate(
    events: int, cases: int, published: float, percent: float, weight: float
) -> None:
    rate, own = shrunk(published, events, cases, 0.42)
    assert 100 * rate == pytest.approx(percent, rel=5e-5)
    assert own == pytest.approx(weight, abs=5e-5)


@pytest.mark.parametrize(("spread", "error"), [(0.2, 0.145), (0.4, 0.154), (0.6, 0.170)])
def test_shrinking_errs_as_little_as_simulated(rulebook: Rulebook, spread: float, error: float) -> None:
    # Simulated elsewhere: root mean square error of the log rate at 38 events, units' true log rates spread by `spread`
    # about the published one, gamma prior of 0.42. Here by summing over events and true rates.
    assert rulebook.odds.unit_spread == 0.42
    published, cases = 0.0192, 1979  # 38.0 expected
    total = weights = 0.0
    errors = [math.log(shrunk(published, events, cases, 0.42)[0] / published) for events in range(400)]
    for step in range(201):
        z = -5 + step / 20
        true, weight = spread * z, math.exp(-z * z / 2)
        mean = published * cases * math.exp(true)
        chances = (math.exp(n * math.log(mean) - mean - math.lgamma(n + 1)) for n in range(400))
        total += weight * sum(chance * (found - true) ** 2 for chance, found in zip(chances, errors, strict=True))
        weights += weight
    assert math.sqrt(total / weights) == pytest.approx(error, abs=0.0015)


@pytest.mark.parametrize(("events", "cases"), [(41, 3180), (0, 30), (300, 9000)])
def test_the_mean_over_the_mix_is_the_shrunk_rate(rulebook: Rulebook, events: int, cases: int) -> None:
    model = rulebook.odds
    target, _ = shrunk(model.baseline.overall_rate, events, cases, model.unit_spread)
    # The program keeps 0.75 % at the published rate; undoing that shift must give the shrunk rate.
    unshifted = odds(recentred(model, audit(events, cases)).baseline)
    unshifted *= odds(baseline_for_rate(model, 0.0192)) / odds(0.0075)
    assert mean_over_the_mix(model, unshifted / (1 + unshifted)) == pytest.approx(target, abs=2e-6)


# -- the era ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("era", "derived"), [("uk-2016-2022", 0.00381), ("uk-2001-2006", 0.00733)])
def test_an_era_shifts_the_baseline_to_its_published_rate(rulebook: Rulebook, era: str, derived: float) -> None:
    # Derived from 0.733 % at 1.92 %: 0.381 % at 1.01 %. The published 0.75 % is kept, so the ratio of odds must agree.
    found = recentre(rulebook.odds, None, rulebook.odds.era(era))
    assert found is not None and (found.events, found.cases, found.weight) == (0, 0, 0)
    assert found.era is not None and found.era.id == era
    assert odds(found.baseline) / odds(0.0075) == pytest.approx(odds(derived) / odds(0.00733), rel=0.005)


def test_with_an_audit_the_prior_stands_at_the_era(rulebook: Rulebook) -> None:
    model = rulebook.odds
    era = model.era("uk-2016-2022")
    assert era is not None
    # A unit at the era's own rate moves nothing more, and one with hardly a case stays near the era.
    alone = recentre(model, None, era)
    for events, cases in ((101, 10_000), (0, 1)):
        both = recentre(model, audit(events, cases), era)
        assert alone is not None and both is not None
        assert both.baseline == pytest.approx(alone.baseline, rel=0.003)
    # 41 in 3180: 1.2474 % by hand against 1.01 %, 1.3429 % against 1.92 %.
    both, own = recentre(model, audit(41, 3180), era), recentred(model, audit(41, 3180))
    assert both is not None
    ratio = odds(baseline_for_rate(model, 0.012474)) / odds(baseline_for_rate(model, 0.013429))
    assert odds(both.baseline) / odds(own.baseline) == pytest.approx(ratio, rel=1e-3)


def test_the_era_is_named_and_leaves_the_tier_alone(rulebook: Rulebook) -> None:
    white = plain_eye(rulebook, **WHITE, age_years="82")
    published, later = (assess(white, rulebook, unit) for unit in (None, Unit(unit="invented", era="uk-2016-2022")))
    assert later.tier == published.tier and later.points == published.points
    assert later.probability.by_operator["consultant"].most < published.probability.by_operator["consultant"].most
    # Derived: a woman of 82 with a white lens and a consultant, 1.8 % once re-centred on 1.01 %.
    assert 100 * later.probability.by_operator["consultant"].most == pytest.approx(1.8, abs=0.06)
    assert later.probability.recentred is not None
    for words in ("April 2016 to March 2022", "1.01 %", "sim-2024", "assumed case mix", "the tier keeps"):
        assert words in later.probability.recentred.note


def test_a_unit_file_may_name_an_era_of_the_rulebook(rulebook: Rulebook, tmp_path: Path) -> None:
    file = tmp_path / "unit.yaml"
    file.write_text("unit: Invented\nera: uk-2016-2022\n", encoding="utf-8")
    assert read_unit(file, rulebook).era == "uk-2016-2022"
    file.write_text("unit: Invented\nera: uk-1999\n", encoding="utf-8")
    with pytest.raises(PlannerError) as refused:
        read_unit(file, rulebook)
    [fault] = refused.value.faults
    assert fault.where.endswith("unit.yaml:2")
    assert "uk-1999" in fault.what
    for era in rulebook.odds.eras:
        assert era.id in fault.hint and f"{100 * era.rate:.2f} %" in fault.hint


def test_nothing_but_events_is_still_a_probability(rulebook: Rulebook) -> None:
    assert 0.0075 < recentred(rulebook.odds, audit(3, 3)).baseline < 1


def test_the_audit_moves_the_printed_probability_and_never_the_tier(ready: Assessor, rulebook: Rulebook) -> None:
    good, poor = unit_with(300, 100_000), unit_with(9000, 100_000)
    for seed in range(60):
        draw = random.Random(seed)
        values = complete_values(ready.compiled, draw, 0.9)
        case = as_case(ready.compiled, [None if draw.random() < 0.1 else value for value in values])
        published, better, worse = (assess(case, rulebook, unit) for unit in (None, good, poor))
        assert published.tier == better.tier == worse.tier
        assert published.points == better.points == worse.points
        assert published.levers == better.levers == worse.levers
        for operator in published.probability.by_operator:
            for end in ("least", "most"):
                found = [getattr(a.probability.by_operator[operator], end) for a in (better, published, worse)]
                assert found == sorted(set(found)), (seed, operator)


def test_re_centring_says_what_it_did(rulebook: Rulebook) -> None:
    shown = assess(plain_eye(rulebook), rulebook, unit_with(41, 3180)).probability
    assert shown.recentred is not None
    assert shown.baseline == shown.recentred.baseline
    for words in ("41 events in 3180 cases", "an invented year", "weight 92%", "assumed case mix", "the tier keeps"):
        assert words in shown.recentred.note
    assert assess(plain_eye(rulebook), rulebook).probability.recentred is None
