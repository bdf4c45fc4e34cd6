"""`planner rules prove`: what a rulebook promises, shown for every allowed case."""

import sys

from planner.cli.options import JsonOption, RulesOption, present, rulebook_in
from planner.errors import Fault, PlannerError

FATES = {"refuted": "does not hold", "undecided": "is not decided"}


def prove(rules: RulesOption = None, json: JsonOption = False) -> None:
    """Show for every allowed case what a rulebook promises, or print a case for which it fails.

    Needs z3-solver: python -m pip install 'cataract-case-planner[proof]'. Ends with 1 when a claim does not hold.

    Example: planner rules prove --rules rules
    """
    from planner.assess.assess import assessor
    from planner.rulebook.prove import CLAIMS, prove

    started: list[str] = []
    live = sys.stderr.isatty()
    start = "\r" if live else ""

    def report(claim: str) -> None:
        started.append(claim)
        if live:
            print(f"{start}{len(started)} of {len(CLAIMS)}: {claim:24}", end="", file=sys.stderr, flush=True)

    rulebook = rulebook_in(rules)
    proof = prove(rulebook, started=report, plain_eye=assessor(rulebook).completions.plain)
    print(f"{start}{len(started)} of {len(CLAIMS)} claims examined{' ' * 16 if live else ''}", file=sys.stderr)
    # Only now, as z3 is needed for it.
    from planner.rulebook.proof.report import proof_data, proof_text

    present(json, lambda: proof_data(proof), lambda: proof_text(proof))
    failed = [claim for claim in proof.claims if claim.state != "proved"]
    if failed:
        raise PlannerError([Fault("", f"{claim.id} {FATES[claim.state]}", claim.text) for claim in failed])
