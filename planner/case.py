"""One eye's findings, read against the vocabulary; every fault of a case is reported at once."""

from __future__ import annotations

import datetime
from collections.abc import Container, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal, get_args

from planner import conditions
from planner.conditions import Value
from planner.errors import Fault, PlannerError, did_you_mean
from planner.readings import quadrants, read_day
from planner.vocabulary import Coarse, Finding, Vocabulary

Stage = Literal["steps-only", "early", "middle", "late", "independent"]
STAGES: tuple[Stage, ...] = get_args(Stage)
HEADINGS = (
    "case", "patient", "eye", "planned_stage", "listed_on", "recorded_on", "none_found_in", "examined_by", "findings",
)  # fmt: skip
LONGEST_REFERENCE = 60


@dataclass(frozen=True)
class Query:
    """Something odd that was kept: outside the usual range, or an odd pair read at its worse."""

    finding: str
    text: str


@dataclass(frozen=True)
class Case:
    """A case as recorded. `findings` holds typed values of what was recorded; what is absent is unknown.

    `from_section` names findings that took their unremarkable value from `none_found_in`, `from_finer` those read from
    a finer one that was recorded (hardness from a decimal grade); `doubted` those read as not recorded because of an
    odd pair; `left_unknown` those written `not-recorded`, which no section fills. `listed_on` is the day on which the
    patient was put on the waiting list, `recorded_on` the day of the examination.
    """

    reference: str
    eye: str
    findings: dict[str, Value]
    patient: str | None = None
    planned_stage: str | None = None
    recorded_on: datetime.date | None = None
    examined_by: str | None = None
    none_found_in: tuple[str, ...] = ()
    from_section: frozenset[str] = frozenset()
    from_finer: frozenset[str] = frozenset()
    left_unknown: frozenset[str] = frozenset()
    listed_on: datetime.date | None = None
    doubted: dict[str, Value] = field(default_factory=dict)
    queries: tuple[Query, ...] = ()

    @cached_property
    def in_force(self) -> dict[str, Value]:
        """The findings an assessment reads: recorded and not doubted."""
        return {name: value for name, value in self.findings.items() if name not in self.doubted}

    def values(self, vocabulary: Vocabulary) -> list[Any]:
        """Typed values in vocabulary order, None where unknown."""
        in_force = self.in_force
        return [in_force.get(finding.id) for finding in vocabulary.findings]

    def with_finding(self, name: str, value: Value | None) -> Case:
        """The same case with one finding recorded otherwise (None takes it away)."""
        findings = {key: kept for key, kept in self.findings.items() if key != name}
        if value is not None:
            findings[name] = value
        doubted = {key: kept for key, kept in self.doubted.items() if key != name}
        unknown = self.left_unknown | {name} if value is None else self.left_unknown - {name}
        filled = self.from_section - {name}
        return replace(self, findings=findings, doubted=doubted, left_unknown=unknown, from_section=filled)


def read_case(raw: object, vocabulary: Vocabulary, where: str = "case", place: Any = None) -> Case:
    """A `Case` of plain data; `place` words a path such as `("findings", "sex")`. PlannerError has every fault."""
    reader = _CaseReader(vocabulary, where, place or (lambda path: where))
    case = reader.case(raw)
    if reader.faults or case is None:
        raise PlannerError(reader.faults)
    return case


def coarser(coarse: Coarse, value: float, recorded: Mapping[str, Any], eye: str) -> Value | None:
    """What a finer finding says of the coarser one; None where it says nothing, as while a gap's width is unknown."""
    if coarse.clock:
        width = recorded.get(coarse.width) if coarse.width is not None else 0.0
        return quadrants(value, width, eye) if isinstance(width, float) else None
    grades = (grade for grade, (low, high) in coarse.grades.items() if low <= value <= high)
    return next(grades, None)


def coarser_first(vocabulary: Vocabulary) -> list[Finding]:
    """The findings in their order, each finer one after the coarser that is read from it: a word before its grade."""
    after: dict[str, list[Finding]] = {}
    for finding in vocabulary.findings:
        if finding.coarse is not None:
            after.setdefault(finding.coarse.into, []).append(finding)
    usual = (finding for finding in vocabulary.findings if finding.coarse is None)
    return [each for finding in usual for each in (finding, *after.get(finding.id, ()))]


def vouched_for(
    vocabulary: Vocabulary, looked_through: Container[str], recorded: Mapping[str, Value | None], given: Container[str]
) -> dict[str, Value]:
    """The unremarkable values that sections looked through give to findings not among `given`, by name."""
    said: dict[str, Value] = {}
    known = dict(recorded)
    # First what can always be seen, then what something may have hidden: a section does not vouch for that.
    for hidden in (False, True):
        for finding in vocabulary.findings:
            left = finding.section in looked_through and finding.id not in given
            if not left or finding.unremarkable is None or (finding.hidden_when is not None) is not hidden:
                continue
            value = finding.read(finding.unremarkable)
            if value is not None and not may_be_hidden(finding, known):
                known[finding.id] = said[finding.id] = value
    return said


def may_be_hidden(finding: Finding, recorded: Mapping[str, Value | None]) -> bool:
    """Whether it could not be seen, or may not have been, so that a section looked through does not vouch for it."""
    return finding.hidden_when is not None and conditions.judge(finding.hidden_when, recorded) is not False


class _CaseReader:
    def __init__(self, vocabulary: Vocabulary, where: str, place: Any) -> None:
        self.vocabulary = vocabulary
        self.where = where
        self.place = place
        self.faults: list[Fault] = []
        self.queries: list[Query] = []

    def fault(self, path: tuple[str | int, ...], what: str, why: str = "", hint: str = "") -> None:
        self.faults.append(Fault(self.place(path), what, why, hint))

    def case(self, raw: object) -> Case | None:
        if not isinstance(raw, Mapping):
            why, hint = "a case is a mapping that starts with `case:`", "planner intake > case.yaml, and fill it in"
            self.fault((), "holds no case", why, hint)
            return None
        for key in raw:
            if key not in HEADINGS:
                hint = did_you_mean(key, HEADINGS, f"allowed: {', '.join(HEADINGS)}")
                hint = "put it under `findings:`" if key in self.vocabulary.by_id else hint
                self.fault((key,), f"unknown heading {str(key)[:60]!r}", hint=hint)
        reference = self.line(raw, "case", required=True)
        eye = self.eye(raw.get("eye"))
        stage = self.line(raw, "planned_stage")
        if stage is not None and stage not in STAGES:
            self.fault(("planned_stage",), f"{stage!r} is not a stage", hint=f"one of {', '.join(STAGES)}")
        sections, findings = self.sections(raw.get("none_found_in")), self.findings(raw.get("findings"))
        coarse = self.coarse(findings, eye) if eye is not None else {}
        filled = vouched_for(self.vocabulary, sections, {**findings, **coarse}, findings)
        everything: dict[str, Value] = {**findings, **coarse, **filled}
        # An explicit `not-recorded` inside a section that was looked through stays unknown. The vocabulary's order, so
        # that the order of the file changes nothing.
        recorded = {name: everything[name] for name in self.vocabulary.by_id if everything.get(name) is not None}
        doubted = self.together(recorded)
        self.unusual(recorded)
        recorded_on, listed_on = self.date(raw, "recorded_on"), self.date(raw, "listed_on")
        patient, examined_by = self.line(raw, "patient"), self.line(raw, "examined_by")
        if self.faults:
            return None
        return Case(
            reference=reference or "",
            eye=eye or "",
            findings=recorded,
            patient=patient,
            planned_stage=stage,
            recorded_on=recorded_on,
            listed_on=listed_on,
            examined_by=examined_by,
            none_found_in=tuple(sections),
            from_section=frozenset(filled),
            from_finer=frozenset(name for name in coarse if name not in findings or findings[name] is None),
            left_unknown=frozenset(name for name, value in findings.items() if value is None),
            doubted=doubted,
            queries=tuple(self.queries),
        )

    def line(self, raw: Mapping[str, Any], key: str, required: bool = False) -> str | None:
        value = raw.get(key)
        if value is None or (isinstance(value, str) and not value.strip()):
            if required:
                hint = f"{key}: A-101 (the unit's own reference, never a name)"
                self.fault((key,) if key in raw else (), f"`{key}` is missing", "a plan must name its case", hint)
            return None
        text = str(value).strip()
        if not isinstance(value, str | int) or isinstance(value, bool) or not text.isprintable():
            self.fault((key,), f"`{key}` must be one line of text")
            return None
        if len(text) > LONGEST_REFERENCE:
            self.fault((key,), f"`{key}` has {len(text)} characters", f"at most {LONGEST_REFERENCE} fit a printed line")
        return text

    def eye(self, raw: object) -> str | None:
        if raw in ("right", "left"):
            return str(raw)
        if raw is None or raw == "":
            why = "a plan without a side could be used on the wrong eye"
            self.fault(("eye",), "the eye is missing", why, "eye: right, or eye: left")
        elif isinstance(raw, list) or str(raw).lower() in ("both", "right+left", "left+right", "bilateral", "ou"):
            why, hint = "each eye is planned for itself", "write two cases with the same `patient:`"
            self.fault(("eye",), "both eyes in one case", why, hint)
        else:
            self.fault(("eye",), f"{str(raw)[:40]!r} is not an eye", hint="right or left, in full")
        return None

    def date(self, raw: Mapping[str, Any], key: str) -> datetime.date | None:
        value = raw.get(key)
        if value is None or value == "":
            return None
        day = read_day(value)
        if day is None:
            self.fault((key,), f"{str(value)[:40]!r} is not a date", hint="YYYY-MM-DD")
        return day

    def sections(self, raw: object) -> list[str]:
        items = [part.strip() for part in raw.split("+")] if isinstance(raw, str) else (raw or [])
        if not isinstance(items, list):
            self.fault(("none_found_in",), "must be a list of sections")
            return []
        known = [section.id for section in self.vocabulary.sections]
        for index, item in enumerate(items):
            if item and item not in known:
                hint = did_you_mean(item, known, f"one of {', '.join(known)}")
                self.fault(("none_found_in", index), f"no section {str(item)[:60]!r}", hint=hint)
        return [str(item) for item in items if item in known]

    def findings(self, raw: object) -> dict[str, Any]:
        if raw is None or raw == "":
            return {}
        if not isinstance(raw, Mapping):
            self.fault(("findings",), "must be a mapping of finding: value")
            return {}
        typed: dict[str, Any] = {}
        for name, value in raw.items():
            path, meant = ("findings", str(name)), self.vocabulary.aliases.get(str(name), str(name))
            if meant != name and meant in raw and raw[meant] not in (None, "", "not-recorded"):
                self.fault(path, f"{name} and {meant} say the same twice", hint="keep one of them")
            elif meant not in self.vocabulary.by_id:
                hint = did_you_mean(name, self.vocabulary.by_id, "planner intake lists every finding")
                self.fault(path, f"no finding {str(name)[:60]!r}", hint=hint)
            else:
                try:
                    typed[meant] = self.vocabulary.by_id[meant].read(value)
                except ValueError as error:
                    # A spreadsheet's place names the column already.
                    self.fault(path, str(error) if str(name) in self.place(path) else f"{name}: {error}")
        return typed

    def coarse(self, recorded: Mapping[str, Any], eye: str) -> dict[str, Value]:
        """What finer findings say of the coarser ones; where both are recorded they must agree."""
        read: dict[str, Value] = {}
        for finding in self.vocabulary.findings:
            value = recorded.get(finding.id)
            if finding.coarse is None or not isinstance(value, float):
                continue
            into = self.vocabulary.by_id[finding.coarse.into]
            said, implied = recorded.get(into.id), coarser(finding.coarse, value, recorded, eye)
            if said is not None and implied is not None and said != implied:
                what = f"these cannot stand together: {into.id}: {into.written(said)}, {finding.id}: {value:g}"
                why = f"{finding.label} {finding.shown(value)} means {into.label}: {into.shown(implied)}"
                self.fault(("findings", into.id), what, why, "correct the one that is wrong, or leave one out")
            if implied is not None:
                read[into.id] = implied
        return read

    def together(self, recorded: dict[str, Value]) -> dict[str, Value]:
        """Refuse impossible pairs; query odd ones and say which of their findings are read as not recorded."""
        doubted: dict[str, Value] = {}
        for pair in self.vocabulary.impossible_together:
            if conditions.judge(pair.when, recorded):
                names = sorted(conditions.findings_in(pair.when) & set(recorded))
                shown = ", ".join(f"{name}: {self.vocabulary.by_id[name].written(recorded[name])}" for name in names)
                what, hint = f"these cannot stand together: {shown}", "correct the one that is wrong, or leave it out"
                self.fault(("findings", names[0]), what, pair.because, hint)
        for pair in self.vocabulary.odd_together:
            if conditions.judge(pair.when, recorded):
                names = sorted(conditions.findings_in(pair.when) & set(recorded))
                doubt = {name: recorded[name] for name in pair.doubt if name in recorded}
                doubted |= doubt
                labels = ", ".join(self.vocabulary.by_id[name].label.lower() for name in doubt)
                read = f"; {labels} is read as not recorded" if doubt else ""
                self.queries.append(Query(names[0], f"{pair.because}{read}"))
        return doubted

    def unusual(self, recorded: dict[str, Value]) -> None:
        for name, value in recorded.items():
            finding = self.vocabulary.by_id[name]
            if finding.usual and isinstance(value, float) and not finding.usual[0] <= value <= finding.usual[1]:
                usual = "the usual {:g} to {:g}".format(*finding.usual)
                said = f"{finding.label} {finding.shown(value)} is outside {usual}: measured again?"
                self.queries.append(Query(name, said))
