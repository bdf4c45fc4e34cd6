"""Copies of the shipped rules with a deliberate fault, for what must find it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.assess.assess import assessor
from planner.case import Case, read_case
from planner.rulebook.load import load
from planner.rulebook.proof.report import Claim, CounterExample
from planner.rulebook.prove import prove
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder


@dataclass(frozen=True)
class Edit:
    """One text in one file that becomes another; it must stand there once, or be the first after `after`."""

    file: str
    old: str
    new: str
    after: str = ""


def broken(folder: Path, *edits: Edit) -> Path:
    """A copy of the shipped rules with the edits made."""
    copy = Path(shutil.copytree(rules_folder(), folder / "rules"))
    for edit in edits:
        path = copy / edit.file
        text = path.read_text()
        start = text.index(edit.after)
        assert text[start:].count(edit.old) == 1 or (edit.after and edit.old in text[start:]), edit
        assert edit.old != edit.new
        path.write_text(text[:start] + text[start:].replace(edit.old, edit.new, 1))
    return copy


def refuted(folder: Path, claim: str, *edits: Edit) -> tuple[Rulebook, Claim]:
    """The broken rulebook, and the claim that must not hold of it."""
    rulebook = load(broken(folder, *edits))
    plain_eye = assessor(rulebook).completions.plain
    [examined] = prove(rulebook, only=[claim], plain_eye=plain_eye).claims
    assert examined.state == "refuted", examined
    return rulebook, examined


def as_filed(example: CounterExample, rulebook: Rulebook) -> Case:
    """The counter-example read as a case file is: nothing in it may be refused or doubted."""
    case = read_case(example.case, rulebook.vocabulary)
    assert not case.doubted
    return case


def made_worse(example: CounterExample, rulebook: Rulebook) -> Case:
    """The second case of a counter-example about a case made worse."""
    changed = {name: value or "not-recorded" for name, value in example.then.items()}
    findings: dict[str, Any] = {**example.case["findings"], **changed}
    case = read_case({**example.case, "findings": findings}, rulebook.vocabulary)
    assert example.then and not case.doubted
    return case
