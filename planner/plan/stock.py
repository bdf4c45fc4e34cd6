"""Kit and drugs: what the prepared options and likely drills need, what the unit lacks, what a drug must not meet."""

from __future__ import annotations

from typing import Literal

from planner.plan.choices import Picture
from planner.plan.plan import Chosen, KitItem, PlannedDrug
from planner.rulebook.plan_shapes import Drug
from planner.unit import Unit
from planner.wording import lower_first, sentence

_NEEDS: tuple[Literal["always", "essential", "preferred"], ...] = ("always", "essential", "preferred")


def plan_kit(
    picture: Picture, choices: dict[str, Chosen], drills: dict[str, list[str]], unit: Unit | None
) -> tuple[KitItem, ...]:
    """What must be in the room. `drills` gives the kit of likely drills by the drill's label."""
    rulebook = picture.assessor.rulebook
    kit = rulebook.kit
    wanted: dict[str, tuple[int, list[str]]] = {}
    settled: set[tuple[str, int]] = set()

    def want(item: str, need: int, reason: str, certain: bool = True) -> None:
        level, reasons = wanted.get(item, (need, []))
        wanted[item] = (min(level, need), reasons if reason in reasons else [*reasons, reason])
        if certain:
            settled.add((item, need))

    for item in kit.always:
        want(item, 0, "every case")
    for choice in choices.values():
        _, option = rulebook.option(f"{choice.choice}.{choice.option}")
        for item in option.kit.essential:
            want(item, 1, option.label, not choice.provisional)
        for item in option.kit.preferred:
            want(item, 2, option.label, not choice.provisional)
    for label, items in drills.items():
        for item in items:
            want(item, 2, label)
    for rule in rulebook.interactions.rules:
        if rule.force == "require" and "kit" in rule.of and picture.line(f"rule:{rule.id}") is not False:
            want(rule.of["kit"], 1, rule.text, picture.line(f"rule:{rule.id}") is True)
    result = []
    for equipment in kit.equipment:
        if equipment.id in wanted:
            level, reasons = wanted[equipment.id]
            lacking = unit is not None and unit.kit is not None and equipment.id not in unit.kit
            note = ""
            if lacking:
                note = (
                    (equipment.without or "do without, and say so at the brief")
                    if level == 2
                    else "borrow it, move the case, or postpone"
                )
            result.append(
                KitItem(
                    equipment.id,
                    equipment.label,
                    _NEEDS[level],
                    lacking,
                    (equipment.id, level) in settled,
                    note,
                    tuple(reasons),
                )
            )
    return tuple(sorted(result, key=lambda item: _NEEDS.index(item.need)))


def plan_drugs(picture: Picture, choices: dict[str, Chosen]) -> tuple[PlannedDrug, ...]:
    """The drugs of the prepared options. One whose contraindication may hold is not given until that is checked."""
    rulebook = picture.assessor.rulebook
    wanted = {drug for c in choices.values() for drug in rulebook.option(f"{c.choice}.{c.option}")[1].drugs}
    return tuple(_drug(picture, drug) for drug in rulebook.kit.drugs if drug.id in wanted)


def _drug(picture: Picture, drug: Drug) -> PlannedDrug:
    rulebook, names = picture.assessor.rulebook, picture.names
    vocabulary = rulebook.vocabulary
    reasons, unchecked, instead = [], [], []
    against = [(f"drug:{drug.id}:{one.id}", one.when, one.because, one.instead) for one in drug.withhold]
    against += [
        (f"rule:{rule.id}", rule.when, rule.text, rule.instead or "")
        for rule in rulebook.interactions.rules
        if rule.force == "withhold" and rule.of.get("drug") == drug.id
    ]
    for name, when, because, otherwise in against:
        truth = picture.line(name)
        if truth:
            reasons.append(because)
            instead.append(otherwise)
        elif truth is None:
            unchecked.append(lower_first(sentence(when, vocabulary, names)))
    state = "withheld" if reasons else "not-until-checked" if unchecked else "as-prescribed"
    contraindications = tuple(one.because for one in drug.withhold)
    return PlannedDrug(
        drug.id,
        drug.label,
        drug.route,
        drug.concentration,
        drug.dose,
        drug.maximum,
        state,  # type: ignore[arg-type]
        tuple(reasons if reasons else unchecked),
        tuple(instead),
        contraindications,
        tuple(drug.check),
        drug.basis.words,
    )
