"""Nothing in the rulebook is idle: each part can happen, and no factor always holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import z3

from planner.conditions import ALWAYS, Condition, OptionWins, absences_in
from planner.rulebook.proof.example import read
from planner.rulebook.proof.inquiry import Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.symbols import Symbols


def can_happen(bench: Bench) -> Claim:
    text = (
        "each factor, option (as the winner), drill (as likely), caution, line with force, line of a step, raise, "
        "level of odds, item of a published score, contraindication, reason to settle and override can happen"
    )
    inquiry = Inquiry(bench, "can-happen", text)
    filed = bench.case.as_filed()
    partly = 0
    with bench.prover.given(filed):
        for what, where, condition in everything(bench):
            if absences_in(condition):
                partly += 1
                # A case that lacks just what the condition asks about, judged again in three-valued logic.
                case = Symbols(bench.rulebook, "lacking", left_out=absences_in(condition))
                model = inquiry.find(what, *case.allowed(), *case.as_filed(), case.holds(condition))
                if model is None or bench.rulebook.judge(condition, read(case, model)) is not True:
                    inquiry.fail(f"{where}: {what} can never happen")
            elif inquiry.find(what, bench.case.holds(condition)) is None and what not in inquiry.undecided:
                inquiry.fail(f"{where}: {what} can never happen")
    if partly:
        inquiry.notes.append(f"{partly} of them ask whether something is not recorded: shown in a partly recorded case")
    return inquiry.claim()


def not_always(bench: Bench) -> Claim:
    inquiry = Inquiry(bench, "no-factor-always", "no factor always holds")
    for factor in bench.rulebook.factors.values():
        holds = bench.case.holds(factor.when)
        if inquiry.find(factor.id, z3.Not(holds), *bench.case.as_filed()) is None and not inquiry.undecided:
            inquiry.fail(f"{bench.where('factors', factor.id, 'when')}: the factor {factor.id} holds in every case")
    return inquiry.claim()


def everything(bench: Bench) -> Iterator[tuple[str, str, Condition]]:
    """What can happen, where it stands and when, for everything with a condition but what is `always`."""
    rulebook = bench.rulebook
    alone: tuple[tuple[str, str, Iterable[Any]], ...] = (
        ("the factor", "factors", rulebook.factors.values()),
        ("the caution", "cautions", rulebook.cautions.values()),
        ("the line", "rules", rulebook.interactions.rules),
        ("the raise", "raises", rulebook.interactions.raises),
        ("the reason to settle", "settle", rulebook.readiness.settle),
        ("the override", "overrides", rulebook.supervision.overrides),
    )
    for what, kind, entries in alone:
        for entry in entries:
            yield f"{what} {entry.id}", bench.where(kind, entry.id, "when"), entry.when
    for choice in rulebook.choices.values():
        for n, option in enumerate(choice.options):
            name = f"{choice.id}.{option.id}"
            yield f"the option {name} as the winner", bench.where("choices", choice.id, "options", n), OptionWins(name)
    for drill in rulebook.drills.values():
        for n, likely in enumerate(drill.likely):
            where = bench.where("drills", drill.id, "likely", n, "when")
            yield f"the drill {drill.id} as likely, by its reason {n + 1}", where, likely.when
    for step in rulebook.steps:
        for n, line in enumerate(step.lines):
            if line.when != ALWAYS:
                where = bench.where("steps", step.id, "lines", n, "when")
                yield f"the line {line.id} of the step {step.id}", where, line.when
    for n, term in enumerate(rulebook.odds.terms):
        for m, level in enumerate(term.levels):
            where = bench.where("models", rulebook.odds.id, "terms", n, "levels", m, "when")
            yield f"the level {level.label!r} of {term.id}", where, level.when
    for score in rulebook.scores:
        for n, item in enumerate(score.items):
            where = bench.where("models", score.id, "items", n, "when")
            yield f"the item {item.id} of {score.id}", where, item.when
    for drug in rulebook.kit.drugs:
        for n, against in enumerate(drug.withhold):
            where = bench.where("drugs", drug.id, "withhold", n, "when")
            yield f"the contraindication {against.id} of {drug.id}", where, against.when
