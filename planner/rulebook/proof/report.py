"""What a proof says: each claim with how it fared, counter-examples as case files; as words and as data."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from textwrap import indent, wrap
from typing import Any, Literal

WIDTH = 110


@dataclass(frozen=True)
class CounterExample:
    """A case, as its file holds it, for which a claim fails; `then` is what a second, worse case records otherwise."""

    says: str
    case: dict[str, Any] = field(default_factory=dict)
    then: dict[str, str | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Claim:
    """One claim. `checks` counts the questions put to the solver or the cells looked at."""

    id: str
    text: str
    over: str
    checks: int
    seconds: float
    counter_examples: tuple[CounterExample, ...] = ()
    undecided: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def state(self) -> Literal["proved", "refuted", "undecided"]:
        if self.counter_examples:
            return "refuted"
        return "undecided" if self.undecided else "proved"


@dataclass(frozen=True)
class Proof:
    rulebook: str
    version: str
    status: str
    sha256: str
    claims: tuple[Claim, ...]
    ranges: tuple[str, ...]
    not_claimed: tuple[str, ...]
    seconds: float

    @property
    def holds(self) -> bool:
        return all(claim.state == "proved" for claim in self.claims)


def proof_data(proof: Proof) -> dict[str, object]:
    claims = [{**asdict(claim), "state": claim.state, "seconds": round(claim.seconds, 3)} for claim in proof.claims]
    header = {"id": proof.rulebook, "version": proof.version, "sha256": proof.sha256, "status": proof.status}
    rest = {"ranges": proof.ranges, "not_claimed": proof.not_claimed, "seconds": round(proof.seconds, 3)}
    return {"rulebook": header, "proved": proof.holds, "claims": claims, **rest}


def proof_text(proof: Proof) -> str:
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
    parts = wrap(example.says, WIDTH, initial_indent="    ", subsequent_indent="      ")
    if example.case:
        parts.append(indent(_as_yaml(example.case), "      "))
    if example.then:
        parts.append("    and then, all else the same")
        parts += [f"      {name}: {value or 'not-recorded'}" for name, value in example.then.items()]
    return "\n".join(parts)


def _item(text: str) -> str:
    return "\n".join(wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  "))


def _as_yaml(case: dict[str, Any]) -> str:
    """The case file's text; `planner assess` reads it."""
    lines = [f"case: {case['case']}", f"eye: {case['eye']}", f"none_found_in: [{', '.join(case['none_found_in'])}]"]
    return "\n".join([*lines, "findings:", *(f"  {name}: {value}" for name, value in case["findings"].items())])
