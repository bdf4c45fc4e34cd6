"""Tables that must have a place for everything, and numbers that must be able to be worked with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import get_args

from planner.case import STAGES
from planner.errors import Fault
from planner.rulebook.list_shapes import OPERATORS
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, TIERS, By, Level, Operator, PointsBand, ProbabilityBand, Supervised


def faults_of(rulebook: Rulebook) -> list[Fault]:
    """Every hole, overlap or impossible number that keeps the rulebook from being used."""
    return [
        *_tiers(rulebook),
        *_score_groups(rulebook),
        *_supervision(rulebook),
        *_probabilities(rulebook),
        *_odds(rulebook),
        *_durations(rulebook),
    ]


def _tiers(rulebook: Rulebook) -> Iterator[Fault]:
    tiers, spot = rulebook.tiers, rulebook.spots[("tiers.yaml", "")]
    for key, named in (
        ("tiers", [t.tier for t in tiers.tiers]),
        ("points_bands", [b.tier for b in tiers.points_bands]),
    ):
        if named != list(TIERS):
            what = f"`{key}` names the tiers {', '.join(map(str, named))}"
            yield Fault(spot.at(key), what, "there are four, each meets some eye", "1, 2, 3 and 4, once each, in order")
            return
    tables: tuple[tuple[str, Sequence[PointsBand | ProbabilityBand]], ...] = (
        ("points_bands", tiers.points_bands),
        ("probability_bands", tiers.probability_bands),
    )
    for key, bands in tables:
        if bands and bands[0].at_least != 0:
            what = f"`{key}` start at {bands[0].at_least:g}"
            yield Fault(spot.at(key, 0), what, "an eye below would have no tier", "at_least: 0")
        for place, (lower, band) in enumerate(pairwise(bands), 1):
            if band.at_least <= lower.at_least or band.tier <= lower.tier:
                before = f"tier {lower.tier} from {lower.at_least:g}"
                what = f"`{key}` do not rise: tier {band.tier} from {band.at_least:g} comes after {before}"
                why = "a worse eye could have a lower tier"
                yield Fault(spot.at(key, place), what, why, "write them from mild to grave")


def _score_groups(rulebook: Rulebook) -> Iterator[Fault]:
    """The groups of a published score meet without a gap, from 0 points up and without end."""
    for score in rulebook.scores:
        spot, expected = rulebook.spots[("models", score.id)], 0
        for place, group in enumerate(score.groups):
            if group.at_least != expected:
                kind = "overlaps the one before" if group.at_least < expected else "leaves a gap"
                what = f"the group {group.label!r} starts at {group.at_least} points and {kind}"
                where = spot.at("groups", place, "at_least")
                yield Fault(where, what, "each total has one group", f"at_least: {expected}")
            last = place == len(score.groups) - 1
            if (group.at_most is None) != last:
                what = f"the group {group.label!r} has {'a top' if last else 'no top'}"
                why = "the last group has no top, and each other has one"
                yield Fault(spot.at("groups", place), what, why, "leave out at_most" if last else "at_most: ...")
            expected = (group.at_least if group.at_most is None else group.at_most) + 1


def _supervision(rulebook: Rulebook) -> Iterator[Fault]:
    supervision, spot = rulebook.supervision, rulebook.spots[("supervision.yaml", "")]
    for tier in TIERS:
        for stage in STAGES:
            if stage not in supervision.matrix.get(tier, {}):
                what = f"the matrix has no cell for tier {tier}, stage {stage}"
                hint = f"{stage}: {{mode: ..., by: ...}} under '{tier}':"
                yield Fault(spot.at("matrix", str(tier)), what, "every trainee may meet every eye", hint)
    for key, wanted, given in (("modes", MODES, supervision.modes), ("by", get_args(By), supervision.by)):
        for name in wanted:
            if name not in given:
                yield Fault(spot.at(key), f"`{key}` has no words for {name}", "the plan prints them", f"{name}: ...")
    named = [stage.id for stage in rulebook.stages.stages]
    if named != list(STAGES):
        where = rulebook.at("stages.yaml", "", "stages")
        hint = f"{', '.join(STAGES)}, once each, in order"
        yield Fault(where, f"`stages` names {', '.join(named)}", "a trainee moves from each to the next", hint)


def _probabilities(rulebook: Rulebook) -> Iterator[Fault]:
    """A probability is a fraction of 1; the model's own can be neither 0 nor 1, since its odds are taken."""
    model, tiers = rulebook.spots[("models", rulebook.odds.id)], rulebook.spots[("tiers.yaml", "")]
    supervision, baseline = rulebook.spots[("supervision.yaml", "")], rulebook.odds.baseline
    fractions = [
        (model.at("baseline", "probability"), baseline.probability, 0 < baseline.probability < 1),
        (model.at("baseline", "overall_rate"), baseline.overall_rate, 0 < baseline.overall_rate < 1),
    ]
    for n, band in enumerate(rulebook.tiers.probability_bands):
        fractions.append((tiers.at("probability_bands", n, "at_least"), band.at_least, 0 <= band.at_least < 1))
    for n, closer in enumerate(rulebook.supervision.closer):
        limit = closer.operator_probability_at_least
        fractions.append((supervision.at("closer", n, "operator_probability_at_least"), limit, 0 <= limit < 1))
    for where, value, fits in fractions:
        if not fits:
            yield Fault(where, f"{value:g} is not a probability here", "it is a fraction of 1", "write 2 % as 0.02")


def _odds(rulebook: Rulebook) -> Iterator[Fault]:
    model, spot = rulebook.odds, rulebook.spots[("models", rulebook.odds.id)]
    tables: list[tuple[tuple[str | int, ...], str, Sequence[Level | Operator]]] = [
        (("terms", n, "levels"), f"levels of {term.id}", term.levels) for n, term in enumerate(model.terms)
    ]
    for place, label, rows in [*tables, (("operators",), "operators", model.operators)]:
        for n, row in enumerate(rows):
            if row.odds_ratio < 1:
                why = "ranges rest on odds that never fall as more is found, and no operator is below the reference"
                hint = "make the mildest the reference and restate the others against it"
                where = spot.at(*place, n, "odds_ratio")
                yield Fault(where, f"an odds ratio of {row.odds_ratio:g}, below 1", why, hint)
        shares = [row.share or 0.0 for row in rows]
        if min(shares, default=0) < 0 or sum(shares) > 1 + 1e-9:
            what, why = f"the shares of the {label} come to {sum(shares):g}", "they are parts of one assumed case mix"
            yield Fault(spot.at(*place), what, why, "at most 1 together, none below 0")
    if "consultant" not in [operator.id for operator in model.operators]:
        why = "the tier rests on the consultant's probability"
        yield Fault(spot.at("operators"), "no operator is the consultant", why, "- id: consultant, as the reference")
    if not 0 < model.unit_spread < 2:
        where = spot.at("unit_spread")
        why = "it is the coefficient of variation of units' rates"
        yield Fault(where, f"{model.unit_spread:g} is no spread of rates between units", why, "0.42")


def _durations(rulebook: Rulebook) -> Iterator[Fault]:
    """Every operator has one grade, so that every operation can be timed."""
    spot = rulebook.spots[("durations.yaml", "")]
    named = [row.operator for row in rulebook.durations.stands_for]
    for operator in OPERATORS:
        if named.count(operator) != 1:
            what = f"`stands_for` names {operator} {'twice' if operator in named else 'nowhere'}"
            hint = f"- {{operator: {operator}, grade: ..., basis: ...}}, once"
            yield Fault(spot.at("stands_for"), what, "each operation is timed by its operator", hint)


# What only the check looks at, and the proof with it: a rulebook that fails here can still be loaded.


def matrix_rises(rulebook: Rulebook) -> Iterator[Fault]:
    """A harder eye is never supervised from further away, a more senior trainee never from closer."""
    matrix, spot = rulebook.supervision.matrix, rulebook.spots[("supervision.yaml", "")]
    for tier in TIERS:
        for stage in STAGES:
            if tier > 1 and matrix[tier][stage].is_looser_than(matrix[tier - 1][stage]):
                what = f"tier {tier}, {stage}: supervised from further away than tier {tier - 1}"
                why = "a harder eye never loosens supervision"
                yield Fault(spot.at("matrix", str(tier), stage), what, why, _as_written(matrix[tier - 1][stage]))
        for junior, senior in pairwise(STAGES):
            if matrix[tier][junior].is_looser_than(matrix[tier][senior]):
                what = f"tier {tier}, {senior}: supervised from closer than {junior}"
                why = "a more senior trainee is never held tighter"
                yield Fault(spot.at("matrix", str(tier), senior), what, why, _as_written(matrix[tier][junior]))


def _as_written(cell: Supervised) -> str:
    return f"at least {{mode: {cell.mode}, by: {cell.by}}}"


def closer_rises(rulebook: Rulebook) -> Iterator[Fault]:
    """A higher probability of the operator's never sends the supervisor away."""
    for place, (lower, rule) in enumerate(pairwise(rulebook.supervision.closer), 1):
        rises = rule.operator_probability_at_least > lower.operator_probability_at_least
        if not rises or rule.supervised.is_looser_than(lower.supervised):
            what = f"`closer` does not rise at {rule.operator_probability_at_least:g}"
            why = "a higher probability brings the supervisor closer, never sends them away"
            hint = "write them from low to high, each no further than the last"
            yield Fault(rulebook.at("supervision.yaml", "", "closer", place), what, why, hint)


def stages_meet(rulebook: Rulebook) -> Iterator[Fault]:
    """Each stage starts where the one before ends."""
    for place, (junior, senior) in enumerate(pairwise(rulebook.stages.stages), 1):
        top, start = junior.whole_operations[1], senior.whole_operations[0]
        if top is None or start != top + 1:
            ends = "has no end" if top is None else f"ends at {top}"
            what = f"{senior.id} starts at {start} whole operations, {junior.id} {ends}"
            why, hint = "every number of operations belongs to one stage", "start one above where the last ends"
            yield Fault(rulebook.at("stages.yaml", "", "stages", place, "whole_operations"), what, why, hint)


def stages_rise(rulebook: Rulebook) -> Iterator[Fault]:
    """A later stage takes no easier steps than an earlier one, and every named step of it."""
    why = "a more senior trainee is never held tighter"
    for place, (junior, senior) in enumerate(pairwise(rulebook.stages.stages), 1):
        lost = [step for step in junior.named_steps if step not in senior.named_steps]
        if lost:
            where = rulebook.at("stages.yaml", "", "stages", place, "named_steps")
            what = f"{senior.id} is not given {', '.join(lost)}, which {junior.id} is"
            yield Fault(where, what, why, f"add {', '.join(lost)}")
        for key in ("takes_up_to", "named_harder_up_to"):
            if getattr(senior, key) < getattr(junior, key):
                where = rulebook.at("stages.yaml", "", "stages", place, key)
                what = f"{senior.id} takes easier steps than {junior.id}"
                yield Fault(where, what, why, f"{key}: {getattr(junior, key)} or more")


def breaks_rise(rulebook: Rulebook) -> Iterator[Fault]:
    for place, (shorter, longer) in enumerate(pairwise(rulebook.stages.breaks), 1):
        if longer.weeks_at_least <= shorter.weeks_at_least or longer.stages_down < shorter.stages_down:
            where, hint = rulebook.at("stages.yaml", "", "breaks", place), "write them from short to long"
            yield Fault(where, "`breaks` do not rise", "a longer break steps a trainee down at least as far", hint)
