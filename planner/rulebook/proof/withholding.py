"""What is withheld and what the plan would still use: kit, steps and drugs, and lines that ask for what others bar."""

from __future__ import annotations

from collections.abc import Iterator

import z3

from planner.conditions import ALWAYS, Any_, Condition, OptionWins
from planner.rulebook.plan_shapes import KitNeeds
from planner.rulebook.proof.inquiry import Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook


def kit_not_withheld(bench: Bench) -> Claim:
    """Of kit and steps: the engine prints such a withhold, and would still list the item and do the step."""
    text = (
        "no kit of a winner, a likely drill or a line that requires it, and no step, meets a withhold of it that holds "
        "(kit that every case has included)"
    )
    inquiry = Inquiry(bench, "kit-not-withheld", text)
    for rule in bench.rulebook.interactions.rules:
        kind, name = next(iter(rule.of.items()))
        if rule.force != "withhold" or kind not in ("kit", "step"):
            continue
        used = [("every plan", ALWAYS)] if kind == "step" else list(uses_of_kit(bench.rulebook, name))
        for user, when in used:
            says = f"{bench.where('rules', rule.id)}: {rule.id} withholds {name}, and {user} uses it"
            inquiry.refute_by(rule.id, says, bench.case.holds(rule.when), bench.case.holds(when))
    return inquiry.claim()


def uses_of_kit(rulebook: Rulebook, item: str) -> Iterator[tuple[str, Condition]]:
    """What puts an item on a plan's list, and when."""
    if item in rulebook.kit.always:
        yield "every plan", ALWAYS
    for choice in rulebook.choices.values():
        for option in choice.options:
            if item in _items(option.kit):
                yield f"{choice.id}.{option.id}", OptionWins(f"{choice.id}.{option.id}")
    for drill in rulebook.drills.values():
        if item in drill.kit:
            yield f"the drill {drill.id}", drill.likely_when
    for rule in rulebook.interactions.rules:
        if rule.force == "require" and rule.of.get("kit") == item:
            yield f"the line {rule.id}", rule.when


def _items(needs: KitNeeds) -> list[str]:
    return [*needs.essential, *needs.preferred]


def drugs_have_instead(bench: Bench) -> Claim:
    text = "a drug of a winner that meets a contraindication is withheld with an `instead`, or the case settles first"
    inquiry = Inquiry(bench, "drug-has-instead", text)
    met = 0
    for drug in bench.rulebook.kit.drugs:
        given = users_of_drug(bench.rulebook, drug.id)
        for n, against in enumerate(drug.withhold):
            both = bench.case.holds(Any_(given)) if given else z3.BoolVal(False), bench.case.holds(against.when)
            if inquiry.find(against.id, *both) is None:
                continue
            met += 1
            if not against.instead.strip():
                where = bench.where("drugs", drug.id, "withhold", n)
                says = f"{where}: {drug.id} is planned and {against.id} bars it, with nothing to do instead"
                inquiry.refute_by(against.id, says, *both, z3.Not(_settles_first(bench)))
    inquiry.notes.append(f"{met} contraindications can meet a drug that the plan would use")
    return inquiry.claim()


def users_of_drug(rulebook: Rulebook, drug: str) -> tuple[Condition, ...]:
    """The options that use a drug, each as the winner."""
    return tuple(
        OptionWins(f"{choice.id}.{option.id}")
        for choice in rulebook.choices.values()
        for option in choice.options
        if drug in option.drugs
    )


def required_has_instead(bench: Bench) -> Claim:
    text = (
        "a withhold that meets what asks for the same (a line that requires it, an option's own condition, a winner's "
        "drug) has its `instead` and names the hazard, or the case settles first"
    )
    inquiry = Inquiry(bench, "required-has-instead", text)
    rules = bench.rulebook.interactions.rules
    for withhold in (rule for rule in rules if rule.force == "withhold"):
        kind, name = next(iter(withhold.of.items()))
        asking = [(rule.id, rule.when) for rule in rules if rule.force == "require" and rule.of == withhold.of]
        if kind == "option":
            asking.append(("its own condition", bench.rulebook.option(name)[1].when))
        if kind == "drug":
            asking.append(("a winner", Any_(users_of_drug(bench.rulebook, name))))
        for asker, when in asking:
            both = bench.case.holds(withhold.when), bench.case.holds(when)
            answered = (withhold.instead or "").strip() and (withhold.hazard or "").strip()
            if inquiry.find(withhold.id, *both) is not None and not answered:
                says = f"{bench.where('rules', withhold.id)}: {withhold.id} bars {name}, {asker} asks for it, "
                says += "and nothing is said to do instead"
                inquiry.refute_by(withhold.id, says, *both, z3.Not(_settles_first(bench)))
    return inquiry.claim()


def required_is_planned(bench: Bench) -> Claim:
    text = "what a line requires is in the plan, unless a withhold of it holds"
    inquiry = Inquiry(bench, "required-is-planned", text)
    rules = bench.rulebook.interactions.rules
    for rule in (rule for rule in rules if rule.force == "require"):
        kind, name = next(iter(rule.of.items()))
        match kind:
            case "option":
                planned = bench.case.holds(OptionWins(name))
            case "drug":
                planned = bench.case.holds(Any_(users_of_drug(bench.rulebook, name)))
            case _:
                planned = z3.BoolVal(True)  # required kit is listed, and every step is done
        barring = [other for other in rules if other.force == "withhold" and other.of == rule.of]
        withheld = [bench.case.holds(other.when) for other in barring]
        says = f"{bench.where('rules', rule.id)}: {rule.id} requires {name}, and the plan does not have it"
        inquiry.refute_by(rule.id, says, bench.case.holds(rule.when), z3.Not(planned), z3.Not(z3.Or(withheld)))
    return inquiry.claim()


def _settles_first(bench: Bench) -> Formula:
    return z3.Or([bench.case.holds(settle.when) for settle in bench.rulebook.readiness.settle])
