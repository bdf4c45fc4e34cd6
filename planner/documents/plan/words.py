"""What of a plan is put into other words for print, item by item; templates call these as filters, the text by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from planner.assess.assessment import FactorState, Lever, NeededLook, PublishedScore
from planner.documents.figures import change, day, dioptres, moment, whole_range
from planner.plan.plan import Approval, PlannedChoice, PlannedDrug, PlannedLens, PlannedRule
from planner.wording.people import mode_words
from planner.wording.reasons import SettleReason, TierReason
from planner.wording.words import as_sentence, lower_first, percent, with_stop

# The first rates of a published score print; the plan as data holds them all.
SCORE_RATES = 2
# So many steps in other hands than the rulebook's are named beside the approval; the step table shows all.
STEPS_NAMED = 4
# Findings named where a line asks for one of many; the rest are counted there, and named at the end.
FEW = 3


def joined(labels: Iterable[str]) -> str:
    return ", ".join(map(lower_first, labels))


def few(labels: Sequence[str]) -> str:
    """The first few labels, and how many more there are."""
    more = len(labels) - FEW
    named = joined(labels[:FEW] if more > 1 else labels)
    return f"{named} and {more} more" if more > 1 else named


def spoken(name: str) -> str:
    """An id that has no label, as words."""
    return name.replace("_", " ").replace("-", " ")


def takes(look: NeededLook) -> str:
    """How long a sitting takes."""
    return f"{look.minutes} min"


def score_groups(score: PublishedScore) -> Iterator[str]:
    """Each group of a published score with what it means and its first rates."""
    for group in score.groups:
        rates = [
            f"{spoken(name)} {events} of {eyes} ({percent(events / eyes)})"
            for name, (events, eyes) in group.rates.items()
        ]
        parts = [part for part in (group.meaning, *rates[:SCORE_RATES]) if part]
        yield f"{as_sentence(group.label)}: {'; '.join(parts)}." if parts else f"{as_sentence(group.label)}."


def alternatives(choice: PlannedChoice) -> str:
    """What is still possible instead, and what would settle it."""
    possible = [other.label for other in choice.rejected if other.possible]
    if not possible:
        return ""
    sentences = [f"Still possible: {'; '.join(map(lower_first, possible))}."]
    if choice.settled_by:
        sentences.append(f"Settled by: {few(choice.settled_by)}.")
    return " ".join(sentences)


def force(rule: PlannedRule) -> str:
    word = as_sentence(rule.force)
    return word if rule.certain else f"{word}, if found"


def rule_text(rule: PlannedRule) -> str:
    """What is withheld stays visible, with what to do instead and the hazard it was for."""
    parts = [rule.text]
    if rule.instead:
        parts.append(f"Instead: {rule.instead}.")
    if rule.hazard:
        parts.append(f"The hazard remains: {rule.hazard}.")
    return " ".join(parts)


def how_given(drug: PlannedDrug) -> str:
    return ", ".join(part for part in (drug.route, drug.concentration) if part)


def dose(drug: PlannedDrug) -> str:
    if not drug.maximum:
        return drug.dose
    if drug.dose.endswith("."):
        return f"{drug.dose} At most {drug.maximum}"
    return f"{drug.dose}; at most {drug.maximum}"


def standing(drug: PlannedDrug) -> str:
    """`Not until checked: ...`, or `Withheld: ... Instead: ...`; nothing for a drug given as prescribed."""
    if drug.state == "as-prescribed":
        return ""
    state = "Withheld" if drug.state == "withheld" else "Not until checked"
    instead = "; ".join(text for text in drug.instead if text)
    words = f"{state}: {'; '.join(drug.reasons)}."
    return f"{words} Instead: {instead}." if instead else words


def biometry(lens: PlannedLens) -> str:
    """The sheet that powers are read from."""
    reference = lens.biometry_reference or "not recorded"
    if not lens.biometry_date:
        return f"{reference}, date not recorded"
    return f"{reference}, dated {day(lens.biometry_date)}"


def remarks(approval: Approval | None) -> str:
    """What was approved, why, on what condition and what otherwise than the rulebook has it; empty without approval."""
    if approval is None:
        return ""
    conditions = f"On condition: {approval.conditions}" if approval.conditions else ""
    own = "Approved by whoever had a hand in preparing it" if approval.own_case else ""
    texts = (_covers(approval), approval.reason, conditions, own, *_changed(approval))
    return " ".join(with_stop(as_sentence(text)) for text in texts if text) or "none"


def _covers(approval: Approval) -> str:
    if approval.covers == "table":
        return "For whoever operates, by the table of tier and stage"
    if approval.covers == "as-named":
        return f"As named alone: {lower_first(approval.stage_short)}"
    return ""


def _changed(approval: Approval) -> Iterator[str]:
    """What was approved otherwise than the rulebook has it, the tier apart."""
    if approval.mode_approved != approval.mode_by_rulebook:
        approved = mode_words(approval.mode_approved)
        yield f"By the rulebook: {mode_words(approval.mode_by_rulebook)}. Approved: {approved}."
    for who in ("trainee", "supervisor"):
        labels = [step.label for step in approval.steps if step.approved == who]
        if len(labels) > STEPS_NAMED:
            yield f"To the {who} instead: {len(labels)} steps, as set out below."
        elif labels:
            yield f"To the {who} instead: {joined(labels)}."


def factor_words(factor: FactorState) -> str:
    """Why a factor holds, and what it adds."""
    return factor.because + (f" ({factor.counts})" if factor.counts else "")


def lever_words(lever: Lever) -> str:
    return f"{lever.label} to {lever.to}: {lever.how} → tier {lever.tier}"


def decided(reasons: Iterable[TierReason]) -> list[str]:
    """What demands a tier, a line each; factors that demand the same tier stand in one line."""
    lines: dict[str, list[str]] = {}
    for reason in reasons:
        if reason.by == "floor":
            heading = f"{'Demands' if reason.certain else 'If found, demands'} tier {reason.tier}"
            lines.setdefault(heading, []).append(lower_first(reason.label))
        else:
            lines[as_sentence(reason.words)] = []
    return [f"{heading}: {', '.join(labels)}" if labels else heading for heading, labels in lines.items()]


def by_who_settles(reasons: Iterable[SettleReason]) -> list[tuple[str, str]]:
    """What to settle, together where the same person settles it, and who that is."""
    alike: dict[str, list[SettleReason]] = {}
    for reason in reasons:
        alike.setdefault(reason.settled_by, []).append(reason)
    return [(as_sentence("; ".join(_once_headed(group))), who) for who, group in alike.items()]


def _once_headed(reasons: Iterable[SettleReason]) -> Iterator[str]:
    """Why each; `not recorded` before the first of several alone."""
    before = ""
    for reason in reasons:
        yield reason.because.removeprefix(f"{before}: ") if before else reason.because
        before = reason.heading


FILTERS = (
    by_who_settles, decided, as_sentence, joined, factor_words, lever_words, takes, score_groups, force, rule_text,
    how_given, dose, standing, biometry, remarks, change, dioptres, moment, whole_range,
)  # fmt: skip
