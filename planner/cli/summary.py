"""An assessment as a page of text: the tier and what decided it first, then what is missing, then the reasons."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from planner.assess.assessment import Assessment, FactorState, TierResult
from planner.documents.figures import percent_range, whole_range
from planner.rulebook.rulebook import Rulebook

WIDTH = 100


def summary(assessment: Assessment, rulebook: Rulebook) -> str:
    """The assessment of one case in words, ending with whose judgement stands."""
    case, tier = assessment.case, assessment.tier
    blocks = [
        _block(f"{case.reference}, {case.eye.upper()} EYE", _tier(tier)),
        _block(*_readiness(assessment)),
        _block(
            f"Points {whole_range(assessment.points)}, from {rulebook.header.id} {rulebook.header.version}",
            [rulebook.tiers.scale_note],
        ),
        _block(f"Probability of {assessment.probability.outcome}", _probability(assessment, rulebook)),
        _block("Published scores, under their authors' names", _scores(assessment)),
        _block("Where to look, the most decisive first", _looks(assessment)),
        _block("Missing, the most decisive first", _missing(assessment)),
        _block(
            "What could be put right first",
            [f"{lever.label} to {lever.to}: tier {lever.tier} ({lever.how})" for lever in assessment.levers],
        ),
        _block("Factors that hold", [_factor(state) for state in assessment.factors if state.state == "holds"]),
        _block("Factors that may hold", [_factor(state) for state in assessment.factors if state.state == "unknown"]),
        _block("Look again", [*assessment.queries, *assessment.notes]),
        _block(
            f"Rulebook {assessment.rulebook.status}, {assessment.rulebook.sha256[:12]}", rulebook.theatre.deferral[:1]
        ),
    ]
    return "\n".join(block for block in blocks if block)


def _block(heading: str, lines: Iterable[str]) -> str:
    """A heading with its lines under it; nothing at all when there are none."""
    body = list(lines)
    return "\n".join([*_wrapped(heading, ""), *_indented(body)]) + "\n" if body else ""


def _indented(lines: Iterable[str]) -> list[str]:
    return [part for line in lines for part in _wrapped(line, "  ")]


def _wrapped(line: str, indent: str) -> list[str]:
    own = line[: len(line) - len(line.lstrip())]
    first = indent + own
    return textwrap.wrap(
        line.strip(), WIDTH, initial_indent=first, subsequent_indent=first + "  ", break_on_hyphens=False
    )


def _tier(tier: TierResult) -> Iterator[str]:
    """Both readings, each with what decides it."""
    proved = "" if tier.proved else " (not proved; the outer bound is kept)"
    if tier.on_record == tier.working:
        yield f"Tier {tier.working}, on record and until known: {tier.label}{proved}"
        yield from (f"  decided by {reason}" for reason in tier.decided_by)
        return
    if tier.on_record is None:
        yield "On record: too little is recorded to write a technique"
    else:
        yield f"On record tier {tier.on_record}: {tier.on_record_label}"
        yield from (f"  decided by {reason}" for reason in tier.on_record_by)
    yield f"Until known tier {tier.working}: {tier.label}{proved}"
    yield from (f"  decided by {reason}" for reason in tier.decided_by)


def _looks(assessment: Assessment) -> Iterator[str]:
    for look in assessment.looks:
        settles = " settles the tier with the others marked so" if look.settles else ""
        yield f"{look.label}, {look.minutes} min ({look.who}):{settles} {', '.join(look.findings)}"


def _readiness(assessment: Assessment) -> tuple[str, list[str]]:
    if assessment.readiness.state == "ready":
        return "Readiness", ["ready"]
    reasons = [f"{reason.because} (to settle it: {reason.settled_by})" for reason in assessment.readiness.because]
    return "Settle first, then operate", reasons


def _probability(assessment: Assessment, rulebook: Rulebook) -> Iterator[str]:
    probability = assessment.probability
    at_least = "at least " if probability.not_counted else ""
    for operator in probability.by_operator.values():
        share = percent_range(operator.least, operator.most)
        yield f"{operator.operator:<12} {at_least}{share:<14} as the published {operator.published_grade}"
    for uncounted in probability.not_counted:
        rates = f": {'; '.join(uncounted.rates)}" if uncounted.rates else ""
        yield f"not counted: {uncounted.label} ({'holds' if uncounted.certain else 'may hold'}){rates}"
    yield f"{probability.authors}; {probability.population}"
    if probability.recentred is not None:
        yield probability.recentred.note
    yield rulebook.theatre.range_note


def _scores(assessment: Assessment) -> Iterator[str]:
    for score in assessment.published_scores:
        groups = " or ".join(group.label for group in score.groups)
        yield f"{score.authors}: {whole_range(score.points)} (group: {groups}); {score.outcome}"


def _missing(assessment: Assessment) -> Iterator[str]:
    for missing in assessment.missing:
        by = f" (to settle it: {missing.settled_by})" if missing.settled_by else ""
        yield f"{missing.finding}: {missing.would_settle}{by}"


def _standing(rulebook: Rulebook) -> Iterator[str]:
    if rulebook.header.status != "in-force":
        yield rulebook.header.draft_line
    yield rulebook.theatre.deferral[0]


def _factor(state: FactorState) -> str:
    points = state.points if state.state == "holds" else state.most_points
    unit = "point" if points == 1 else "points"
    counts = f", {'up to ' if state.state == 'unknown' else ''}{points} {unit}" if points else ""
    floor = f", demands tier {state.floor}" if state.floor else ""
    return f"{state.label}{counts}{floor}: {state.because} [{state.basis}]"
