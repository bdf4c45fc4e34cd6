"""The cautious option of a partly recorded case meets no withhold that may hold against it.

`planner.plan.choices.cautious` takes one of some possible winners: first those against which no withhold may hold, that
is, holds in some completion. It is asked about all possible winners where too little is recorded to read the eye; about
those of the eye on record with what cannot be looked for in theatre left open, which is a partly recorded case as well;
and, where that gives a strict option, about the strict ones, and about all again where each of them may meet a
withhold. So it fails only where every possible winner may meet one.

Say that option o points to option w when, in some complete case, a withhold against o holds and w wins. If all possible
winners of a partly recorded case may meet a withhold, each points to another of them, so the pointers run in a ring. No
ring: proved, over every partly recorded case. A ring is searched for a partly recorded case that fails.
"""

from __future__ import annotations

from collections.abc import Iterator

import z3

from planner.conditions import Any_, Condition, OptionWins, compare
from planner.rulebook.plan_shapes import Choice
from planner.rulebook.proof.example import Values, as_file, read
from planner.rulebook.proof.inquiry import PARTLY, Bench, Inquiry
from planner.rulebook.proof.report import Claim, CounterExample
from planner.rulebook.proof.symbols import Prover, Symbols
from planner.rulebook.proof.variables import Formula, is_so

TRIES = 60


def prepared_not_withheld(bench: Bench) -> Claim:
    text = (
        "the cautious option, and a strict one that is written, meets no withhold that holds or may hold against it: "
        "of the possible winners at least one is free of any, and the plan takes such a one"
    )
    inquiry = Inquiry(bench, "prepared-not-withheld", text, PARTLY)
    for choice in bench.rulebook.choices.values():
        withheld = bench.rulebook.withheld
        against: dict[str, Condition] = {
            name: Any_(tuple(rule.when for rule in withheld[name])) for name in choice.names if name in withheld
        }
        for ring in _rings(_pointers(inquiry, choice, against)):
            _search(inquiry, choice, against, ring)
    return inquiry.claim()


def _pointers(inquiry: Inquiry, choice: Choice, against: dict[str, Condition]) -> dict[str, list[str]]:
    case = inquiry.bench.case
    wins = {name: case.holds(OptionWins(name)) for name in choice.names}
    return {
        option: [w for w in wins if inquiry.find(f"{option}, {w}", case.holds(withheld), wins[w]) is not None]
        for option, withheld in against.items()
    }


def _rings(pointers: dict[str, list[str]]) -> Iterator[list[str]]:
    """Every simple ring once, starting at its first name."""

    def follow(path: list[str]) -> Iterator[list[str]]:
        for nearer in pointers.get(path[-1], []):
            if nearer == path[0]:
                yield path
            elif nearer > path[0] and nearer not in path:
                yield from follow([*path, nearer])

    for name in sorted(pointers):
        yield from follow([name])


def _search(inquiry: Inquiry, choice: Choice, against: dict[str, Condition], ring: list[str]) -> None:
    """Look for a partly recorded case whose every possible winner may meet a withhold, the ring's options among them.

    One completion for each option of the ring, in which it is withheld and the next one wins; what they agree on may be
    recorded. The most that may be is tried, and where an option free of withholds still wins in some completion, that
    completion is ruled out and the search goes on.
    """
    bench, prover = inquiry.bench, Prover(inquiry.bench.rulebook)
    completions = [Symbols(bench.rulebook, f"completion{n}") for n in range(len(ring))]
    kept = {name: z3.Bool(f"kept.{name}") for name in bench.rulebook.vocabulary.by_id}
    formulas: list[Formula] = []
    for n, (case, option) in enumerate(zip(completions, ring, strict=True)):
        follows = ring[(n + 1) % len(ring)]
        formulas += [*case.allowed(), case.holds(against[option]), case.holds(OptionWins(follows))]
        for name in kept:
            agrees = z3.And(case.recorded[name], case.variables[name].same_as(completions[0].variables[name]))
            formulas.append(z3.Implies(kept[name], agrees))
            formulas.append(z3.Implies(z3.Not(kept[name]), case.recorded[name] == case.asked(name)))
    prover.solver.add(formulas)
    for _ in range(TRIES):
        partly = _most_recorded(inquiry, prover, completions, kept)
        if partly is None:
            return
        given_up = len(inquiry.undecided)
        free = _free_winner(inquiry, choice, against, partly)
        if len(inquiry.undecided) > given_up:
            return
        if free is None:
            inquiry.against.append(_example(inquiry, choice, ring, partly))
            return
        prover.solver.add(
            z3.Or([z3.And(kept[name], differs) for name, differs in _unlike(inquiry, choice, completions[0], free)])
        )
    inquiry.undecided.append(f"{choice.id}: {' -> '.join(ring)}")


def _most_recorded(
    inquiry: Inquiry, prover: Prover, completions: list[Symbols], kept: dict[str, Formula]
) -> Values | None:
    """A case with as much recorded as the completions allow, its values the plainest; None when there is none."""
    inquiry.checks += 1
    if prover.solver.check() != z3.sat:
        return None
    first, tries = completions[0], []
    for name, keep in kept.items():
        finding = first.rulebook.vocabulary.by_id[name]
        applies = [case.asked(name) for case in completions] if finding.unremarkable is None else []
        values = inquiry.bench.plain.values(finding)
        recorded = [z3.And(keep, *applies, first.variables[name].equals(value)) for value in values]
        tries.append([*recorded, z3.Not(keep) if applies else keep, keep])
    model = prover.settled(tries)
    return {name: value if is_so(model, kept[name]) else None for name, value in read(first, model).items()}


def _matters(bench: Bench, choice: Choice) -> set[str]:
    """The findings a choice rests on, and those that an impossible pair ties to them."""
    reach, withheld = bench.rulebook.reach, bench.rulebook.withheld
    against = (rule.when for name in choice.names for rule in withheld.get(name, []))
    reached = set().union(*(reach(condition) for condition in (*map(OptionWins, choice.names), *against)))
    pairs = [reach(pair.when) for pair in bench.rulebook.vocabulary.impossible_together]
    for _ in pairs:
        reached |= set().union(*(tied for tied in pairs if tied & reached))
    return reached


def _unlike(inquiry: Inquiry, choice: Choice, case: Symbols, values: Values) -> Iterator[tuple[str, Formula]]:
    """For each finding that matters to a choice, that a case records what a comparison can tell from these values."""
    for name in sorted(_matters(inquiry.bench, choice)):
        value, variable, tests = values[name], case.variables[name], inquiry.bench.plain.tests.get(name, {})
        if value is None:
            yield name, z3.BoolVal(True)
        elif tests:
            differing = [variable.passes(test) != compare(test, value) for test in tests if test.how != "recorded"]
            yield name, z3.Or(differing)


def _completing(case: Symbols, partly: Values) -> list[Formula]:
    """That a complete case is a completion of a partly recorded one."""
    formulas: list[Formula] = []
    for name, value in partly.items():
        if value is None:
            formulas.append(case.recorded[name] == case.asked(name))
        else:
            formulas += [case.recorded[name], case.variables[name].equals(value)]
    return formulas


def _free_winner(inquiry: Inquiry, choice: Choice, against: dict[str, Condition], partly: Values) -> Values | None:
    """A completion in which an option wins that no completion withholds; None when there is none."""
    case = inquiry.bench.case
    with inquiry.bench.prover.given(_completing(case, partly)):
        for name in choice.names:
            if name in against and inquiry.find(name, case.holds(against[name])) is not None:
                continue
            model = inquiry.find(name, case.holds(OptionWins(name)))
            if model is not None:
                return read(case, model)
    return None


def _example(inquiry: Inquiry, choice: Choice, ring: list[str], partly: Values) -> CounterExample:
    rulebook = inquiry.bench.rulebook
    blank = [name for name, value in partly.items() if value is None and rulebook.applies(name, partly) is not False]
    rules = [
        f"{name} may meet {' or '.join(rule.id for rule in rulebook.withheld[name])} "
        f"({', '.join(inquiry.bench.where('rules', rule.id) for rule in rulebook.withheld[name])})"
        for name in ring
    ]
    says = f"whatever is prepared for {choice.id} may be withheld, {', '.join(blank)} not recorded: {'; '.join(rules)}"
    return CounterExample(says, as_file(rulebook, inquiry.bench.plain, partly))
