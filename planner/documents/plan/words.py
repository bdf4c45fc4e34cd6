"""What of a plan is put into other words for print, item by item; templates call these as filters, the text by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from planner.assess.assessment import NeededLook, PublishedScore
from planner.documents.figures import change, day, dioptres, moment, whole_range
from planner.plan.plan import Approval, PlannedChoice, PlannedDrug, PlannedLens, PlannedRule
from planner.wording.language import say
from planner.wording.people import mode_words
from planner.wording.words import as_sentence, lower_first, percent, with_stop

# The first rates of a published score print; the plan as data holds them all.
SCORE_RATES = 2
# So many steps in other hands than the rulebook's are named beside the approval; the step table shows all.
STEPS_NAMED = 4
# Findings named where a line asks for one of many; the rest are counted there, and named at the end.
FEW = 3
# Written out, so that the catalogue's extraction finds them; called, so that they speak the language in force.
WHO = {"trainee": lambda: say("TRAINEE"), "supervisor": lambda: say("SUPERVISOR")}
FORCES = {
    "withhold": lambda: say("Withhold"),
    "require": lambda: say("Require"),
    "order": lambda: say("Order"),
    "prefer": lambda: say("Prefer"),
    "tell": lambda: say("Tell"),
}


def joined(labels: Iterable[str]) -> str:
    return ", ".join(map(lower_first, labels))


def few(labels: Sequence[str]) -> str:
    """The first few labels, and how many more there are."""
    more = len(labels) - FEW
    named = joined(labels[:FEW] if more > 1 else labels)
    return say("%(findings)s and %(more)s more", findings=named, more=more) if more > 1 else named


def spoken(name: str) -> str:
    """An id that has no label, as words."""
    return name.replace("_", " ").replace("-", " ")


def takes(look: NeededLook) -> str:
    """How long a sitting takes."""
    return say("%(minutes)s min", minutes=look.minutes)


def score_groups(score: PublishedScore) -> Iterator[str]:
    """Each group of a published score with what it means and its first rates."""
    for group in score.groups:
        rates = [
            say("%(what)s %(events)s of %(eyes)s", what=spoken(name), events=events, eyes=eyes)
            + f" ({percent(events / eyes)})"
            for name, (events, eyes) in group.rates.items()
        ]
        parts = [part for part in (group.meaning, *rates[:SCORE_RATES]) if part]
        yield f"{as_sentence(group.label)}: {'; '.join(parts)}." if parts else f"{as_sentence(group.label)}."


def alternatives(choice: PlannedChoice) -> str:
    """What is still possible instead, and what would settle it."""
    possible = [other.label for other in choice.rejected if other.possible]
    if not possible:
        return ""
    sentences = [say("Still possible: %(options)s.", options="; ".join(map(lower_first, possible)))]
    if choice.settled_by:
        sentences.append(say("Settled by: %(findings)s.", findings=few(choice.settled_by)))
    return " ".join(sentences)


def force(rule: PlannedRule) -> str:
    word = FORCES[rule.force]()
    return word if rule.certain else say("%(force)s, if found", force=word)


def rule_text(rule: PlannedRule) -> str:
    """What is withheld stays visible, with what to do instead and the hazard it was for."""
    parts = [rule.text]
    if rule.instead:
        parts.append(say("Instead: %(what)s.", what=rule.instead))
    if rule.hazard:
        parts.append(say("The hazard remains: %(hazard)s.", hazard=rule.hazard))
    return " ".join(parts)


def how_given(drug: PlannedDrug) -> str:
    return ", ".join(part for part in (drug.route, drug.concentration) if part)


def dose(drug: PlannedDrug) -> str:
    if not drug.maximum:
        return drug.dose
    if drug.dose.endswith("."):
        return f"{drug.dose} {say('At most %(maximum)s', maximum=drug.maximum)}"
    return drug.dose + say("; at most %(maximum)s", maximum=drug.maximum)


def standing(drug: PlannedDrug) -> str:
    """`Not until checked: ...`, or `Withheld: ... Instead: ...`; nothing for a drug given as prescribed."""
    if drug.state == "as-prescribed":
        return ""
    state = say("Withheld") if drug.state == "withheld" else say("Not until checked")
    instead = "; ".join(text for text in drug.instead if text)
    words = f"{state}: {'; '.join(drug.reasons)}."
    return f"{words} {say('Instead: %(what)s.', what=instead)}" if instead else words


def biometry(lens: PlannedLens) -> str:
    """The sheet that powers are read from."""
    reference = lens.biometry_reference or say("not recorded")
    if not lens.biometry_date:
        return say("%(sheet)s, date not recorded", sheet=reference)
    return say("%(sheet)s, dated %(date)s", sheet=reference, date=day(lens.biometry_date))


def remarks(approval: Approval | None) -> str:
    """What was approved, why, on what condition and what otherwise than the rulebook has it; empty without approval."""
    if approval is None:
        return ""
    conditions = say("On condition: %(text)s", text=approval.conditions) if approval.conditions else ""
    own = say("Approved by whoever had a hand in preparing it") if approval.own_case else ""
    texts = (_covers(approval), approval.reason, conditions, own, *_changed(approval))
    return " ".join(with_stop(as_sentence(text)) for text in texts if text) or say("none")


def _covers(approval: Approval) -> str:
    if approval.covers == "table":
        return say("For whoever operates, by the table of tier and stage")
    if approval.covers == "as-named":
        return say("As named alone: %(stage)s", stage=lower_first(approval.stage_short))
    return ""


def _changed(approval: Approval) -> Iterator[str]:
    """What was approved otherwise than the rulebook has it, the tier apart."""
    if approval.mode_approved != approval.mode_by_rulebook:
        yield say(
            "By the rulebook: %(planned)s. Approved: %(approved)s.",
            planned=mode_words(approval.mode_by_rulebook), approved=mode_words(approval.mode_approved),
        )  # fmt: skip
    for who in ("trainee", "supervisor"):
        labels = [step.label for step in approval.steps if step.approved == who]
        if len(labels) > STEPS_NAMED:
            yield say(
                "To the %(who)s instead: %(count)s steps, as set out below.", who=WHO[who]().lower(), count=len(labels)
            )
        elif labels:
            yield say("To the %(who)s instead: %(steps)s.", who=WHO[who]().lower(), steps=joined(labels))


FILTERS = (
    as_sentence, joined, few, takes, score_groups, alternatives, force, rule_text, how_given, dose, standing,
    biometry, remarks, change, dioptres, moment, whole_range,
)  # fmt: skip
