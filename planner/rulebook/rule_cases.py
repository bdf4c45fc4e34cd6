"""The cases that stand beside what they test: `factors/lens.cases.yaml` says what `factors/lens.yaml` must do.

::

    none_found_in: [history]       sections that every case of the file looked through and found nothing in
    given: {opacity: partial}      findings that every case of the file starts from
    cases:
    - of: shallow-chamber          a factor, or an option as `choice.option`
      given: {...}                 added to the file's; a case adds to both, and `not-recorded` takes one away
      holds: [{anterior_chamber_depth_mm: 2.5}, {anterior_chamber_depth_mm: 2.49}]
      does_not_hold: [{anterior_chamber_depth_mm: 2.51}]
      unknown: [{}]

An option has `wins`, `does_not_win` and `may_win` (one of several that are still possible). This module reads the
files and says what is missing from them; whether the engine agrees is judged in `planner.plan.expected`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from planner import strict_yaml
from planner.case import Case, read_case
from planner.claims import Entry
from planner.conditions import Condition, Test, walk
from planner.errors import Fault, PlannerError, did_you_mean
from planner.rulebook.rulebook import Rulebook, Spot
from planner.rulebook.validation_errors import read_as
from planner.vocabulary import Finding, Vocabulary

LARGEST_FILE = 1_000_000
FOLDERS = ("factors", "choices")
OF_FACTOR = ("holds", "does_not_hold", "unknown")
OF_OPTION = ("wins", "does_not_win", "may_win")


class CasesOf(Entry):
    """The cases of one factor or option, each a mapping of findings."""

    of: str
    given: dict[str, Any] = {}
    holds: list[dict[str, Any]] = []
    does_not_hold: list[dict[str, Any]] = []
    unknown: list[dict[str, Any]] = []
    wins: list[dict[str, Any]] = []
    does_not_win: list[dict[str, Any]] = []
    may_win: list[dict[str, Any]] = []


class CasesFile(Entry):
    none_found_in: list[str] = []
    given: dict[str, Any] = {}
    cases: list[CasesOf]


@dataclass(frozen=True)
class Expected:
    """What one case must come to: `how` is one of OF_FACTOR or OF_OPTION, `where` its `file:line`."""

    name: str
    how: str
    case: Case
    where: str


@dataclass
class Subject:
    """A factor or option that must have cases: where it stands, its own condition, what its cases must show."""

    name: str
    where: str
    when: Condition
    needs: tuple[str, ...]
    cases: list[Expected] = field(default_factory=list)
    written: str = ""  # where its cases stand, "" without any

    @property
    def file(self) -> str:
        """The file its cases belong in."""
        return self.where.rpartition(":")[0].removesuffix(".yaml") + ".cases.yaml"


def read(rulebook: Rulebook, folder: Path) -> tuple[list[Expected], list[Fault]]:
    """Every case in `folder`, and every fault in how they are written or in what they leave out.

    Each factor and option needs a case of each kind. Besides, each comparison in its own condition must be seen to
    decide: cases alike in all else, and not all expected alike, show a number at the limit and one step of its
    instrument below and above (as far as it can go), a choice at each of its values, yes-no at both, a set at each
    single value named and at none. What it reaches through another factor is shown by that factor's own cases.
    """
    reader = _CasesReader(rulebook, folder)
    for name in FOLDERS:
        for path in sorted((folder / name).glob("*.cases.yaml")):
            reader.file(path)
    faults = reader.faults
    for subject in reader.subjects.values():
        faults.extend(_missing(subject, rulebook.vocabulary))
    return [case for subject in reader.subjects.values() for case in subject.cases], faults


def cases_of(folder: Path, name: str) -> dict[str, Any]:
    """Where the cases of a factor or option stand, what all of them hold, and each kind's own; empty without any."""
    for path in (path for kind in FOLDERS for path in sorted((folder / kind).glob("*.cases.yaml"))):
        document = strict_yaml.read_file(path, path.relative_to(folder.parent).as_posix(), LARGEST_FILE)
        for index, entry in enumerate(document.data["cases"]):
            if entry["of"] == name:
                both = _as_written({**document.data.get("given", {}), **entry.get("given", {})})
                kinds = (how for how in (*OF_FACTOR, *OF_OPTION) if entry.get(how))
                expected = {how: [_as_written(own) or "nothing more recorded" for own in entry[how]] for how in kinds}
                return {"at": document.at(("cases", index)), "given": both, "expected": expected}
    return {}


def _as_written(findings: dict[str, Any]) -> str:
    return ", ".join(f"{name}: {value}" for name, value in findings.items())


def subjects(rulebook: Rulebook) -> Iterator[Subject]:
    """Every factor and option, without cases yet."""
    for factor in rulebook.factors.values():
        yield Subject(factor.id, rulebook.at("factors", factor.id), factor.when, OF_FACTOR)
    for choice in rulebook.choices.values():
        spot = rulebook.spots[("choices", choice.id)]
        for place, option in enumerate(choice.options):
            yield Subject(f"{choice.id}.{option.id}", spot.at("options", place), option.when, OF_OPTION)


class _CasesReader:
    def __init__(self, rulebook: Rulebook, folder: Path) -> None:
        self.vocabulary = rulebook.vocabulary
        self.folder = folder
        self.subjects = {subject.name: subject for subject in subjects(rulebook)}
        self.faults: list[Fault] = []

    def file(self, path: Path) -> None:
        name = path.relative_to(self.folder.parent).as_posix()
        try:
            file, spot = read_as(CasesFile, strict_yaml.read_file(path, name, LARGEST_FILE))
        except PlannerError as error:
            self.faults.extend(error.faults)
        else:
            for place, entry in enumerate(file.cases):
                self.entry(file, entry, Spot(spot.document, ("cases", place)))

    def entry(self, file: CasesFile, entry: CasesOf, spot: Spot) -> None:
        subject = self.subjects.get(entry.of)
        if subject is None:
            hint = did_you_mean(entry.of, self.subjects, "a factor's id, or choice.option")
            self.faults.append(Fault(spot.at("of"), f"no factor or option {entry.of!r}", hint=hint))
            return
        if subject.written:
            why = f"first at {subject.written}"
            self.faults.append(Fault(spot.at(), f"{subject.name} has cases twice", why, "join them"))
            return
        subject.written = spot.at()
        if subject.file != spot.document.name:
            what = f"the cases of {subject.name} belong in {subject.file}"
            self.faults.append(Fault(spot.at(), what, "they stand beside what they test", "move them"))
        for how in (*OF_FACTOR, *OF_OPTION):
            written: list[dict[str, Any]] = getattr(entry, how)
            if written and how not in subject.needs:
                what = f"`{how}` is not said of {subject.name}"
                self.faults.append(Fault(spot.at(how), what, hint=f"one of {', '.join(subject.needs)}"))
                continue
            for number, own in enumerate(written):
                case = self.case(file, {**file.given, **entry.given, **own}, spot, how, number)
                if case is not None:
                    subject.cases.append(Expected(subject.name, how, case, spot.at(how, number)))

    def case(self, file: CasesFile, findings: dict[str, Any], spot: Spot, how: str, number: int) -> Case | None:
        name = spot.at(how, number)[-60:]
        raw = {"case": name, "eye": "right", "none_found_in": file.none_found_in, "findings": findings}
        try:
            return read_case(raw, self.vocabulary, place=lambda path: spot.at(how, number, *path[1:]))
        except PlannerError as error:
            self.faults.extend(error.faults)
            return None


def _missing(subject: Subject, vocabulary: Vocabulary) -> Iterator[Fault]:
    if not subject.written:
        what, hint = f"{subject.name} has no cases", f"add `- of: {subject.name}` to {subject.file}"
        yield Fault(subject.where, what, "nothing says what it must do", hint)
        return
    for how in subject.needs:
        if not any(case.how == how for case in subject.cases):
            yield Fault(subject.written, f"{subject.name} has no case under `{how}:`")
    for test in dict.fromkeys(part for part in walk(subject.when) if isinstance(part, Test)):
        if fault := _undecided(subject, test, vocabulary.by_id[test.finding]):
            yield fault


def _undecided(subject: Subject, test: Test, finding: Finding) -> Fault | None:
    """What keeps the cases from showing that one comparison decides; None when they show it."""
    needed = _telling(finding, test)
    alike: dict[Any, dict[Any, str]] = {}
    for expected in subject.cases:
        others = frozenset((name, value) for name, value in expected.case.findings.items() if name != finding.id)
        if finding.id in expected.case.findings:
            alike.setdefault(others, {})[expected.case.findings[finding.id]] = expected.how
    best: list[Any] = needed
    for seen in alike.values():
        absent = [value for value in needed if value not in seen]
        if not absent and len({seen[value] for value in needed}) > 1:
            return None
        best = min(best, absent, key=len)
    limits = ", ".join(finding.written(value) for value in needed)
    missing = f"missing: {', '.join(finding.written(value) for value in best)}" if best else "all are expected alike"
    what, why = f"no cases show that {finding.id} decides at {limits}", "they must be alike in everything else"
    hint = "add them, and what is expected of each"
    return Fault(subject.written, f"{subject.name}: {what}", f"{why}; {missing}", hint)


def _telling(finding: Finding, test: Test) -> list[Any]:
    """The values of a finding at which one comparison must be seen."""
    match finding.kind:
        case "yes-no":
            return [True, False]
        case "choice":
            return finding.enumerated
        case "set":
            return [frozenset({item}) for item in sorted(test.limit)] + [frozenset()]
    return finding.around([test.limit])
