"""Every choice decides itself: one winner, never a withheld one; what is withheld has something instead."""

from __future__ import annotations

import itertools

import z3

from planner.conditions import Any_, Condition, OptionWins
from planner.rulebook.proof.inquiry import TABLES, Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.variables import Formula
from planner.rulebook.rulebook import Rulebook


def one_winner(bench: Bench) -> Claim:
    inquiry = Inquiry(bench, "one-winner", "each choice has exactly one winner")
    for choice in bench.rulebook.choices.values():
        wins = {o.id: bench.case.holds(OptionWins(f"{choice.id}.{o.id}")) for o in choice.options}
        where = bench.where("choices", choice.id)
        inquiry.refute_by(choice.id, f"{where}: no option of {choice.id} wins", z3.Not(z3.Or(list(wins.values()))))
        if len(wins) > 1 and inquiry.find(choice.id, z3.AtLeast(*wins.values(), 2)) is not None:
            for (one, first), (other, second) in itertools.combinations(wins.items(), 2):
                inquiry.refute_by(choice.id, f"{where}: both {one} and {other} of {choice.id} win", first, second)
    return inquiry.claim()


def winner_not_withheld(bench: Bench) -> Claim:
    inquiry = Inquiry(bench, "no-winner-withheld", "no option that wins meets a withhold that holds against it")
    for name, rules in bench.rulebook.withheld.items():
        for rule in rules:
            says = f"{bench.where('rules', rule.id)}: {name} wins though {rule.id} withholds it"
            inquiry.refute_by(rule.id, says, bench.case.holds(OptionWins(name)), bench.case.holds(rule.when))
    return inquiry.claim()


def possible_ordered(bench: Bench) -> Claim:
    """So that of what is left possible the more cautious can be told without looking at the order of rows."""
    text = "of any two options of a choice one outranks the other, directly or through others"
    inquiry = Inquiry(bench, "options-ordered", text, TABLES)
    for choice in bench.rulebook.choices.values():
        for one, other in itertools.combinations(choice.names, 2):
            if one in bench.rulebook.outranking[other] or other in bench.rulebook.outranking[one]:
                inquiry.checks += 1
            else:
                inquiry.fail(f"{bench.where('choices', choice.id)}: neither of {one} and {other} outranks the other")
    return inquiry.claim()


def drugs_have_instead(bench: Bench) -> Claim:
    text = "a drug of a winner that meets a contraindication is withheld with an `instead`, or the case settles first"
    inquiry = Inquiry(bench, "drug-has-instead", text)
    met = 0
    for drug in bench.rulebook.kit.drugs:
        given = bench.case.holds(_drug_is_used(bench.rulebook, drug.id))
        for n, against in enumerate(drug.withhold):
            both = given, bench.case.holds(against.when)
            if inquiry.find(against.id, *both) is None:
                continue
            met += 1
            if not against.instead.strip():
                where = bench.where("drugs", drug.id, "withhold", n)
                says = f"{where}: {drug.id} is planned and {against.id} bars it, with nothing to do instead"
                inquiry.refute_by(against.id, says, *both, z3.Not(_settles_first(bench)))
    inquiry.notes.append(f"{met} contraindications can meet a drug that the plan would use")
    return inquiry.claim()


def _drug_is_used(rulebook: Rulebook, drug: str) -> Condition:
    """That an option which uses a drug is the winner."""
    return Any_(tuple(OptionWins(name) for name, option in rulebook.options.items() if drug in option.drugs))


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
            asker, when = "a winner", _drug_is_used(bench.rulebook, name)
        both = bench.case.holds(withhold.when), bench.case.holds(when)
        answered = (withhold.instead or "").strip() and (withhold.hazard or "").strip()
        if inquiry.find(withhold.id, *both) is not None and not answered:
            says = f"{bench.where('rules', withhold.id)}: {withhold.id} bars {name}, {asker} asks for it, "
            says += "and nothing is said to do instead"
            inquiry.refute_by(withhold.id, says, *both, z3.Not(_settles_first(bench)))
    return inquiry.claim()


def _settles_first(bench: Bench) -> Formula:
    return z3.Or([bench.case.holds(settle.when) for settle in bench.rulebook.readiness.settle])
