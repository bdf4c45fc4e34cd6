"""An assessment as a page of text: the tier and what decided it first, then what is missing, then the reasons."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from planner.assess.assessment import Assessment, FactorState, OperatorProbability
from planner.documents.figures import percent_range, whole_range
from planner.rulebook.rulebook import Rulebook
from planner.wording.reasons import TierReason
from planner.wording.words import counted, lower_first, percent, wrapped

WIDTH = 100
# Reasons for a tier, and uncounted factors that may hold, that are told one by one; more are told in short.
REASONS = 4
FEW = 3
# Factors that may hold, told one by one up to so many.
MANY = 8


def summary(assessment: Assessment, rulebook: Rulebook) -> str:
    """The assessment of one case in words, ending with whose judgement stands."""
    case = assessment.case
    blocks = [
        _block(f"{case.reference}, {case.eye.upper()} EYE", _tier(assessment, rulebook)),
        _block(*_readiness(assessment)),
        _block(
            f"Points {whole_range(assessment.points)}, from {rulebook.header.id} {rulebook.header.version}",
            [rulebook.tiers.scale_note],
        ),
        _block(f"Probability of {assessment.probability.model.outcome}", _probability(assessment, rulebook)),
        _block("Published scores, under their authors' names", _scores(assessment)),
        _block("Where to look next, the most decisive first", _looks(assessment)),
        _block("Not recorded, the most decisive first", _missing(assessment)),
        _block(
            "What could be put right first",
            [f"{lever.label} to {lever.to}: tier {lever.tier} ({lever.how})" for lever in assessment.levers],
        ),
        _block("Factors that hold", [_factor(state) for state in assessment.factors if state.state == "holds"]),
        _block("Factors that may hold, as something is not recorded", _may_hold(assessment)),
        _block("Check the record", [*assessment.queries, *(note.words for note in assessment.notes)]),
        _block(
            f"Rulebook {assessment.rulebook.status}, {assessment.rulebook.sha256[:12]}", rulebook.theatre.deferral[:1]
        ),
    ]
    return "\n".join(block for block in blocks if block)


def _block(heading: str, lines: Iterable[str]) -> str:
    """A heading with its lines under it; nothing at all when there are none."""
    body = list(lines)
    printed = wrapped(heading, "", WIDTH)
    for line in body:
        own = line[: len(line) - len(line.lstrip())]
        printed += wrapped(line.strip(), f"  {own}", WIDTH)
    return "\n".join(printed) + "\n" if body else ""


def _tier(assessment: Assessment, rulebook: Rulebook) -> Iterator[str]:
    """Both readings, each with what decides it."""
    tier, vocabulary = assessment.tier, rulebook.vocabulary
    proved = "" if tier.proved else " (not proved; the outer bound is kept)"
    if tier.on_record == tier.working:
        yield f"Tier {tier.working}, on record and until known: {tier.label}{proved}"
        yield from _decided_by(tier.decided_by)
        return
    if tier.on_record is None:
        needed = [name for name in vocabulary.on_record_needs if name not in assessment.case.in_force]
        labels = ", ".join(lower_first(vocabulary.by_id[name].label) for name in needed)
        yield f"On record: too little is recorded to write a technique (not recorded: {labels})"
    else:
        yield f"On record, if nothing more is found: tier {tier.on_record}, {tier.on_record_label}"
        yield from _decided_by(tier.on_record_by)
    yield f"Until known, the worst still possible, which decides supervision: tier {tier.working}, {tier.label}{proved}"
    yield from _decided_by(tier.decided_by)


def _decided_by(reasons: tuple[TierReason, ...]) -> Iterator[str]:
    """The first reasons, what holds before what may hold; of more the rest is a number."""
    shown = reasons if len(reasons) <= REASONS + 1 else reasons[:REASONS]
    yield from (f"  decided by {reason.words}" for reason in shown)
    if len(shown) < len(reasons):
        yield f"  and {len(reasons) - len(shown)} more reasons: planner explain why tier CASE"


def _looks(assessment: Assessment) -> Iterator[str]:
    """One line a sitting; what cannot move the tier is asked for readiness alone, and says so."""
    for look in assessment.looks:
        only = "" if look.settles else " (for readiness, not for the tier)"
        asked = "; ".join(lower_first(label) for label in look.labels)
        yield f"{look.label}, {look.minutes} min, by {look.who}{only}: {asked}"


def _readiness(assessment: Assessment) -> tuple[str, list[str]]:
    if assessment.readiness.state == "ready":
        return "Readiness", ["ready"]
    by: dict[str, list[str]] = {}
    for reason in assessment.readiness.because:
        by.setdefault(reason.settled_by, []).append(reason.because)
    reasons = [f"{'; '.join(because)} (to settle it: {settled_by})" for settled_by, because in by.items()]
    return "Settle first, then operate", reasons


def _probability(assessment: Assessment, rulebook: Rulebook) -> Iterator[str]:
    probability = assessment.probability
    at_least = "at least " if probability.not_counted else ""
    shares = {name: f"{at_least}{_share(operator)}" for name, operator in probability.by_operator.items()}
    width = max(map(len, shares.values()), default=0)
    for name, operator in probability.by_operator.items():
        yield f"{name:<12} {shares[name]:<{width}}  as the published {operator.published_grade}"
    may_hold = [uncounted.label for uncounted in probability.not_counted if not uncounted.certain]
    for uncounted in probability.not_counted:
        if uncounted.certain or len(may_hold) <= FEW:
            rates = f": {'; '.join(uncounted.rate_words)}" if uncounted.rates else ""
            yield f"not counted: {uncounted.label} ({'holds' if uncounted.certain else 'may hold'}){rates}"
    if len(may_hold) > FEW:
        yield f"not counted, and may hold: {'; '.join(map(lower_first, may_hold))}"
    yield f"{probability.model.authors}; {probability.model.population}"
    if probability.recentred is not None:
        yield probability.recentred.note
    yield rulebook.theatre.range_note


def _share(operator: OperatorProbability) -> str:
    """The probability on record, and the most until what is missing is known; both ends where there is no record."""
    if operator.on_record is None or percent(operator.on_record) == percent(operator.most):
        return percent_range(operator.least, operator.most)
    return f"{percent(operator.on_record)} on record, {percent(operator.most)} until known"


def _scores(assessment: Assessment) -> Iterator[str]:
    for score in assessment.published_scores:
        groups = " or ".join(group.label for group in score.groups)
        yield f"{score.authors}: {whole_range(score.points)} (group: {groups}); {score.outcome}"


def _missing(assessment: Assessment) -> Iterator[str]:
    """Findings by the name a case file gives them; those that would do the same stand in one line."""
    alike: dict[str, list[str]] = {}
    for missing in assessment.missing:
        by = f" (to settle it: {missing.settled_by})" if missing.settled_by else ""
        settles = missing.settles_tier or missing.finding in assessment.smallest_set
        alike.setdefault(missing.would_settle + (by if settles else ""), []).append(missing.finding)
    return (f"{', '.join(findings)}: {would_settle}" for would_settle, findings in alike.items())


def _may_hold(assessment: Assessment) -> Iterator[str]:
    """One by one while they are few; of many, what would demand a tier, then what would add points, then the rest."""
    states = [state for state in assessment.factors if state.state == "unknown"]
    if len(states) <= MANY:
        yield from (_factor(state) for state in states)
        return
    alike: dict[str, list[str]] = {}
    for state in sorted(states, key=lambda state: (-(state.floor or 0), -state.most_points)):
        points = f"up to {counted(state.most_points, 'point')}"
        would = f"would demand tier {state.floor}" if state.floor else points if state.most_points else "no points"
        alike.setdefault(would, []).append(lower_first(state.label))
    yield from (f"{would}: {'; '.join(labels)}" for would, labels in alike.items())


def _factor(state: FactorState) -> str:
    points = state.points if state.state == "holds" else state.most_points
    counts = f", {'up to ' if state.state == 'unknown' else ''}{counted(points, 'point')}" if points else ""
    floor = f", demands tier {state.floor}" if state.floor else ""
    return f"{state.label}{counts}{floor}: {state.because} [{state.basis.words}]"
