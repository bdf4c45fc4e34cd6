"""Kit and drugs: what the prepared options and likely drills need, what the unit lacks, what a drug must not meet."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from planner.conditions import Condition
from planner.plan.picture import Picture
from planner.plan.plan import KitItem, PlannedChoice, PlannedDrill, PlannedDrug
from planner.rulebook.plan_shapes import Drug
from planner.wording.conditions import sentence
from planner.wording.words import lower_first

Need = Literal["always", "essential", "preferred", "if-found"]
_NEEDS: tuple[Need, ...] = ("always", "essential", "preferred", "if-found")


def plan_kit(picture: Picture, choices: dict[str, PlannedChoice], drills: list[PlannedDrill]) -> tuple[KitItem, ...]:
    """What must be in the room, `drills` being the likely ones, with what would be needed if something were found."""
    rulebook = picture.rulebook
    wanted: dict[str, tuple[int, list[str]]] = {}
    settled: set[tuple[str, int]] = set()

    def want(items: Iterable[str], need: int, reason: str, certain: bool = True) -> None:
        for item in items:
            level, reasons = wanted.get(item, (need, []))
            wanted[item] = (min(level, need), [*reasons, *([reason] if reason and reason not in reasons else [])])
            if certain:
                settled.add((item, need))

    want(rulebook.kit.always, 0, "")
    for choice in choices.values():
        want(choice.way.kit.essential, 1, choice.label, choice.prepared_as is None)
        want(choice.way.kit.preferred, 2, choice.label, choice.prepared_as is None)
        for gate in choice.if_found:
            want(rulebook.option(f"{choice.choice}.{gate.option}")[1].kit.essential, 3, gate.label, False)
    for drill in drills:
        want(drill.kit, 2, drill.label)
    for rule in rulebook.interactions.rules:
        if rule.force == "require" and "kit" in rule.of and picture.truth(f"rule:{rule.id}") is not False:
            want([rule.of["kit"]], 1, rule.text, picture.truth(f"rule:{rule.id}") is True)
    result = []
    for item in rulebook.kit.equipment:
        if item.id in wanted:
            level, reasons = wanted[item.id]
            certain, need = (item.id, level) in settled, _NEEDS[level]
            result.append(KitItem(item.id, item.label, need, False, certain, item.without, tuple(reasons)))
    return tuple(sorted(result, key=lambda item: _NEEDS.index(item.need)))


def plan_drugs(picture: Picture, choices: dict[str, PlannedChoice]) -> tuple[PlannedDrug, ...]:
    """The drugs of the prepared options. One whose contraindication may hold is not given until that is checked."""
    rulebook = picture.rulebook
    ways = [choice.way for choice in choices.values()]
    wanted = {drug for way in ways for drug in (*way.drugs, *(line.drug for line in way.drug_lines))}
    return tuple(planned_drug(picture, drug) for drug in rulebook.kit.drugs if drug.id in wanted)


def planned_drug(picture: Picture, drug: Drug) -> PlannedDrug:
    """A drug with what bars it in this eye, or may bar it."""
    reasons, unchecked, instead = [], [], []

    def said(when: Condition) -> str:
        return lower_first(sentence(when, picture.rulebook.vocabulary, picture.names))

    bars = {one.id: one.label or said(one.when) for one in drug.withhold}
    # Each bar by its line, in words where it holds and where it may hold, with what to do instead.
    against = [(f"drug:{drug.id}:{one.id}", bars[one.id], bars[one.id], one.instead) for one in drug.withhold]
    against += [
        (f"rule:{rule.id}", rule.text, said(rule.when), rule.instead or "")
        for rule in picture.rulebook.interactions.rules
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
    return PlannedDrug(
        drug.id, drug.label, drug.route, drug.concentration, drug.dose, drug.maximum,
        state,  # type: ignore[arg-type]
        tuple(reasons if reasons else unchecked), tuple(instead), tuple(bars.values()), tuple(drug.check),
        drug.basis, drug.one_of,
    )  # fmt: skip
