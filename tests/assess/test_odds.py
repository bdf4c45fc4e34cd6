"""The odds model: probability, what it does not count, and re-centring on a unit's own audit.

Odds ratios marked seen are those of Narendran et al., Eye 2009;23:31, as reprinted in a letter, Eye 2010, eye2009121a.
What is called derived was worked out by hand from them and from recalled rows, and was printed nowhere.
"""

from __future__ import annotations

import itertools
import math
import random

import pytest
from plain_eye import WHITE, plain_eye
from random_cases import as_case, complete_values

from planner.assess.assess import Assessor, assess
from planner.assess.odds import baseline_for_rate, recentre
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import OddsModel
from planner.unit import Audit, Unit


def odds(probability: float) -> float:
    return probability / (1 - probability)


def probability_for(rulebook: Rulebook, operator: str, **findings: str) -> float:
    """The probability of a fully recorded eye for one operator."""
    shown = assess(plain_eye(rulebook, **findings), rulebook).probability.by_operator[operator]
    assert shown.least == pytest.approx(shown.most)
    return shown.most


def audit(events: int, cases: int) -> Audit:
    return Audit(period="an invented year", events=events, cases=cases, case_mix="assumed")


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
        assert [rate.split(" (published")[0] for rate in named[factor].rates] == [
            rate.text for rate in rulebook.factors[factor].published_rates
        ]


def test_what_may_hold_unseen_by_the_model_is_named_too(rulebook: Rulebook) -> None:
    shown = assess(plain_eye(rulebook, anterior_chamber_depth_mm="not-recorded"), rulebook).probability
    assert {missed.factor: missed.certain for missed in shown.not_counted}["shallow-chamber"] is False
    assert assess(plain_eye(rulebook), rulebook).probability.not_counted == ()


def test_what_is_not_recorded_gives_a_range_from_its_least_to_its_most(rulebook: Rulebook) -> None:
    shown = assess(plain_eye(rulebook, dilated_pupil_mm="not-recorded", sex="not-recorded"), rulebook).probability
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
    found = recentre(model, audit(round(rate * 100_000), 100_000)).baseline
    assert odds(found) / odds(0.0075) == pytest.approx(odds(derived) / odds(0.00733), rel=0.005)
    assert found == pytest.approx(derived, rel=0.03)


def test_a_unit_at_the_published_rate_keeps_the_published_baseline(rulebook: Rulebook) -> None:
    found = recentre(rulebook.odds, audit(192, 10_000))
    assert (found.weight, found.baseline) == (1.0, pytest.approx(0.0075))


def test_few_events_are_shrunk_towards_the_published_rate(rulebook: Rulebook) -> None:
    # The rate is 0.87 % throughout; below 100 events the log odds are averaged by the share of 100 reached.
    model = rulebook.odds
    full = recentre(model, audit(870, 100_000))
    assert full.weight == 1
    for events, cases, weight in ((87, 10_000, 0.87), (25, 2874, 0.25), (1, 115, 0.01)):
        found = recentre(model, audit(events, cases))
        assert found.weight == pytest.approx(weight)
        own, published = math.log(odds(events / cases)), math.log(odds(0.0192))
        target = 1 / (1 + math.exp(-(weight * own + (1 - weight) * published)))
        # The program keeps 0.75 % at the published rate; undoing that shift must give the averaged rate.
        unshifted = odds(found.baseline) * odds(baseline_for_rate(model, 0.0192)) / odds(0.0075)
        assert mean_over_the_mix(model, unshifted / (1 + unshifted)) == pytest.approx(target, abs=2e-6)
        assert full.baseline < found.baseline < 0.0075
    assert recentre(model, audit(100, 11_494)).weight == 1


@pytest.mark.parametrize("cases", [1, 30, 5000])
def test_a_unit_without_events_keeps_the_published_baseline(rulebook: Rulebook, cases: int) -> None:
    # Nought events are no evidence of a rate of nought.
    found = recentre(rulebook.odds, audit(0, cases))
    assert (found.weight, found.baseline) == (0, pytest.approx(0.0075))


def test_nothing_but_events_is_still_a_probability(rulebook: Rulebook) -> None:
    assert 0.0075 < recentre(rulebook.odds, audit(3, 3)).baseline < 1


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
    for words in ("41 events in 3180 cases", "an invented year", "weight 41%", "assumed case mix", "the tier keeps"):
        assert words in shown.recentred.note
    assert assess(plain_eye(rulebook), rulebook).probability.recentred is None
