"""Every choice decides itself: one winner, never a withheld one, and an order among the possible."""

from __future__ import annotations

import itertools

import z3

from planner.conditions import OptionWins
from planner.rulebook.proof.inquiry import TABLES, Bench, Inquiry
from planner.rulebook.proof.report import Claim


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
        for one, other in itertools.combinations([f"{choice.id}.{option.id}" for option in choice.options], 2):
            if one in bench.rulebook.outranking[other] or other in bench.rulebook.outranking[one]:
                inquiry.passed()
            else:
                inquiry.fail(f"{bench.where('choices', choice.id)}: neither of {one} and {other} outranks the other")
    return inquiry.claim()
