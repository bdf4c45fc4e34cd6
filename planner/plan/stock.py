"""Kit and drugs: what the prepared options and likely drills need, what the unit lacks, what a drug must not meet."""

from __future__ import annotations

from typing import Literal

from planner.plan.choices import with_options
from planner.plan.picture import Picture
from planner.plan.plan import Chosen, KitItem, PlannedDrug
from planner.rulebook.plan_shapes import Contraindication, Drug
from planner.unit import Unit
from planner.wording.conditions import sentence
from planner.wording.words import lower_first

Need = Literal["always", "essential", "preferred", "if-found"]
_NEEDS: tuple[Need, ...] = ("always", "essential", "preferred", "if-found")


def plan_kit(
    picture: Picture, choices: dict[str, Chosen], drills: dict[str, list[str]], unit: Unit | None
) -> tuple[KitItem, ...]:
    """What must be in the room. `drills` gives the kit of likely drills by the drill's label.

    What an option needs that would be taken if something were found is made ready too; where the unit lacks it, the
    case moves once that is found, and not before.
    """
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
    for choice, option in with_options(rulebook, choices):
        for item in option.kit.essential:
            want(item, 1, option.label, choice.prepared_as is None)
        for item in option.kit.preferred:
            want(item, 2, option.label, choice.prepared_as is None)
        for gate in choice.if_found:
            _, other = rulebook.option(f"{choice.choice}.{gate.option}")
            for item in other.kit.essential:
                want(item, 3, other.label, False)
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
                note = {
                    2: equipment.without or "do without, and say so at the brief",
                    3: "if found: stop, move the case",
                }.get(level, "borrow it, move the case, or postpone")
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
    written = with_options(rulebook, choices)
    wanted = {drug for _, option in written for drug in (*option.drugs, *(line.drug for line in option.drug_lines))}
    return tuple(planned_drug(picture, drug) for drug in rulebook.kit.drugs if drug.id in wanted)


def planned_drug(picture: Picture, drug: Drug) -> PlannedDrug:
    """A drug with what bars it in this eye, or may bar it."""
    rulebook, names = picture.assessor.rulebook, picture.names
    vocabulary = rulebook.vocabulary
    reasons, unchecked, instead = [], [], []

    def said(one: Contraindication) -> str:
        return one.label or lower_first(sentence(one.when, vocabulary, names))

    # Each bar by its line, in words where it holds and where it may hold, with what to do instead.
    against = [(f"drug:{drug.id}:{one.id}", said(one), said(one), one.instead) for one in drug.withhold]
    against += [
        (f"rule:{rule.id}", rule.text, lower_first(sentence(rule.when, vocabulary, names)), rule.instead or "")
        for rule in rulebook.interactions.rules
        if rule.force == "withhold" and rule.of.get("drug") == drug.id
    ]
    for name, holding, open_, otherwise in against:
        truth = picture.bars(name)
        if truth:
            reasons.append(holding)
            instead.append(otherwise)
        elif truth is None:
            unchecked.append(open_)
    state = "withheld" if reasons else "not-until-checked" if unchecked else "as-prescribed"
    contraindications = tuple(map(said, drug.withhold))
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
        drug.one_of,
    )
