"""`planner rules prove`: what a rulebook promises, shown for every allowed case."""

from __future__ import annotations

import sys
from dataclasses import asdict
from textwrap import indent, wrap
from typing import TYPE_CHECKING

import typer

from planner.cli.options import JsonOption, RulesOption, rulebook_in
from planner.errors import Fault, PlannerError

if TYPE_CHECKING:
    from planner.rulebook.proof.report import Claim, CounterExample, Proof

WIDTH = 110
FATES = {"refuted": "does not hold", "undecided": "is not decided"}


def prove(rules: RulesOption = None, json: JsonOption = False) -> None:
    """Show for every allowed case what a rulebook promises, or print a case for which it fails.

    Needs z3-solver: python -m pip install 'cataract-case-planner[proof]'. Ends with 1 when a claim does not hold.

    Example: planner rules prove --rules rules
    """
    from planner.assess.assess import assessor
    from planner.cli.assess import in_json
    from planner.rulebook.prove import CLAIMS, prove

    started: list[str] = []
    live = sys.stderr.isatty()
    start = "\r" if live else ""

    def told(claim: str) -> None:
        started.append(claim)
        if live:
            print(f"{start}{len(started)} of {len(CLAIMS)}: {claim:24}", end="", file=sys.stderr, flush=True)

    rulebook = rulebook_in(rules)
    proof = prove(rulebook, told=told, plain_eye=assessor(rulebook).completions.plain)
    print(f"{start}{len(started)} of {len(CLAIMS)} claims examined{' ' * 16 if live else ''}", file=sys.stderr)
    typer.echo(in_json(_data(proof), many=False) if json else _text(proof))
    failed = [claim for claim in proof.claims if claim.state != "proved"]
    if failed:
        raise PlannerError([Fault("", f"{claim.id} {FATES[claim.state]}", claim.text) for claim in failed])


def _data(proof: Proof) -> dict[str, object]:
    claims = [{**asdict(claim), "state": claim.state, "seconds": round(claim.seconds, 3)} for claim in proof.claims]
    header = {"id": proof.rulebook, "version": proof.version, "sha256": proof.sha256, "status": proof.status}
    rest = {"ranges": proof.ranges, "not_claimed": proof.not_claimed, "seconds": round(proof.seconds, 3)}
    return {"rulebook": header, "proved": proof.holds, "claims": claims, **rest}


def _text(proof: Proof) -> str:
    parts = [f"{proof.rulebook} {proof.version} ({proof.status}), sha256 {proof.sha256[:12]}", ""]
    parts += [_claim(claim) for claim in proof.claims]
    parts += ["", "Over", *map(_item, proof.ranges), "", "Not claimed", *map(_item, proof.not_claimed), ""]
    proved = sum(claim.state == "proved" for claim in proof.claims)
    checks = sum(claim.checks for claim in proof.claims)
    return "\n".join([*parts, f"{proved} of {len(proof.claims)} claims proved, {checks} checks, {proof.seconds:.1f} s"])


def _claim(claim: Claim) -> str:
    head = f"{claim.state:9} {claim.id}: {claim.text} (over {claim.over}; {claim.checks} checks)"
    lines = [*wrap(head, WIDTH, subsequent_indent=" " * 10)]
    for note in (*claim.notes, *(f"not decided: {what}" for what in claim.undecided)):
        lines += wrap(note, WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 12)
    return "\n".join([*lines, *(_counter_example(example) for example in claim.counter_examples)])


def _counter_example(example: CounterExample) -> str:
    """What went wrong, then the case as its file holds it, and what a second case records otherwise."""
    from planner.rulebook.proof.example import as_yaml

    parts = wrap(example.says, WIDTH, initial_indent="    ", subsequent_indent="      ")
    if example.case:
        parts.append(indent(as_yaml(example.case), "      "))
    if example.then:
        parts.append("    and then, all else the same")
        parts += [f"      {name}: {value or 'not-recorded'}" for name, value in example.then.items()]
    return "\n".join(parts)


def _item(text: str) -> str:
    return "\n".join(wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  "))
