"""What is withheld and what the plan would still use: what a winner gives, and what asks for what others bar."""

from __future__ import annotations

import z3

from planner.conditions import Any_, Condition, OptionWins
from planner.rulebook.proof.inquiry import Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook


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
    return tuple(OptionWins(name) for name, option in rulebook.options.items() if drug in option.drugs)


def required_has_instead(bench: Bench) -> Claim:
    text = (
        "a withhold that meets what asks for the same (an option's own condition, a winner's drug) has its `instead` "
        "and names the hazard, or the case settles first"
    )
    inquiry = Inquiry(bench, "required-has-instead", text)
    for withhold in (rule for rule in bench.rulebook.interactions.rules if rule.force == "withhold"):
        kind, name = next(iter(withhold.of.items()))
        if kind == "option":
            asker, when = "its own condition", bench.rulebook.option(name)[1].when
        else:
            asker, when = "a winner", Any_(users_of_drug(bench.rulebook, name))
        both = bench.case.holds(withhold.when), bench.case.holds(when)
        answered = (withhold.instead or "").strip() and (withhold.hazard or "").strip()
        if inquiry.find(withhold.id, *both) is not None and not answered:
            says = f"{bench.where('rules', withhold.id)}: {withhold.id} bars {name}, {asker} asks for it, "
            says += "and nothing is said to do instead"
            inquiry.refute_by(withhold.id, says, *both, z3.Not(_settles_first(bench)))
    return inquiry.claim()


def _settles_first(bench: Bench) -> Formula:
    return z3.Or([bench.case.holds(settle.when) for settle in bench.rulebook.readiness.settle])
