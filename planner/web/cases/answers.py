"""What a browser's form says of a case: each field read by itself, so that one bad value keeps none of the others."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from planner import conditions
from planner.case import read_case, vouched_for
from planner.conditions import Value
from planner.errors import PlannerError
from planner.readings import read_day
from planner.records.changes import changed
from planner.records.identifiers import free_text_fault
from planner.vocabulary import NOT_RECORDED, Finding, Vocabulary
from planner.web.server.forms import Prefixed, SeenForm, VersionNumber
from planner.wording.words import day_words

# Names in the form: `f.` a finding, `none.` a section looked through, `h.` a heading of the case.
FINDING, SECTION, HEADING = "f.", "none.", "h."
# Inside a section that was looked through this says that a finding was not looked at after all.
LEFT_OPEN = NOT_RECORDED[0]
DATES = ("listed_on", "recorded_on")  # headings
# The first part of the form: what the case is, before what was found.
FIRST_PART = "case"


class CaseForm(SeenForm):
    """The form of a case: `section` is the part whose button was pressed, `was_wrong` the fields marked on the page."""

    based_on: VersionNumber
    section: str = FIRST_PART
    was_wrong: set[str] = set()
    findings: Annotated[dict[str, list[str]], Prefixed(FINDING)] = {}
    sections: Annotated[dict[str, list[str]], Prefixed(SECTION)] = {}
    headings: Annotated[dict[str, str], Prefixed(HEADING)] = {}


@dataclass
class Answers:
    """`changes` are plain values by finding or heading (None takes one away), `wrong` says why a field was refused,
    `written` is what stands in each refused field."""

    changes: dict[str, Any] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    written: dict[str, list[str]] = field(default_factory=dict)

    def refuse(self, name: str, why: str, written: list[str]) -> None:
        self.changes.pop(name, None)
        self.wrong[name] = why
        self.written[name] = written


def read_answers(
    form: CaseForm, document: Mapping[str, Any], vocabulary: Vocabulary, stages: Iterable[str], today: datetime.date
) -> Answers:
    """Compare a form with the version it was made from. Fields that the form does not hold are left as they are.

    A date of a measurement later than `today` is refused: a year mistyped would hold for years.
    """
    answers = Answers()
    kept: Mapping[str, Any] = document.get("findings") or {}
    for finding in vocabulary.findings:
        if finding.id in form.findings:
            _read_finding(finding, form.findings[finding.id], kept.get(finding.id), today, answers)
    _read_stage(form.headings.get("planned_stage"), document, stages, answers)
    for name in DATES:
        if name in form.headings:
            _read_date(name, form.headings[name].strip(), document, today, answers)
    before = list(document.get("none_found_in") or [])
    said = {section: "yes" in ticks for section, ticks in form.sections.items()}
    after = [section.id for section in vocabulary.sections if said.get(section.id, section.id in before)]
    if after != before:
        answers.changes["none_found_in"] = after or None
    _refuse_impossible(vocabulary, document, answers)
    _refuse_finer(vocabulary, document, answers)
    return answers


def _read_finding(finding: Finding, written: list[str], kept: Any, today: datetime.date, answers: Answers) -> None:
    # A set's hidden first field says that the set was on the page at all.
    items = [item.strip() for item in written if item.strip()]
    try:
        raw = _one_value(finding, items)
        typed = finding.read(raw)
        if finding.kind == "text" and isinstance(typed, str) and (fault := free_text_fault(typed, finding.id)):
            raise ValueError(f"{fault.what}: {fault.why}; write {fault.hint}")
        if finding.dates and isinstance(typed, datetime.date) and typed > today:
            raise ValueError(
                f"{day_words(typed)} is later than today, {day_words(today)}; nothing was measured then yet"
            )
    except ValueError as error:
        answers.refuse(finding.id, str(error), items)
        return
    new = LEFT_OPEN if raw == LEFT_OPEN else None if typed is None else _plain(finding, typed)
    if typed != finding.read(kept) or (new == LEFT_OPEN) != (kept == LEFT_OPEN):
        answers.changes[finding.id] = new


def _one_value(finding: Finding, items: list[str]) -> str:
    if finding.kind == "set":
        special = {"none", LEFT_OPEN} & set(items)
        if special and len(items) > 1:
            raise ValueError(f"{special.pop()} is ticked together with something else; leave one of them")
        return "+".join(items)
    if len(items) > 1:
        raise ValueError("two values were sent; choose one")
    return items[0] if items else ""


def _plain(finding: Finding, value: Value) -> Any:
    """A typed value as a case's document keeps it."""
    if isinstance(value, float):
        return int(value) if value == int(value) else value
    if isinstance(value, frozenset):
        return [item for item in finding.values if item in value] or "none"
    return finding.written(value)


def _read_stage(written: str | None, document: Mapping[str, Any], stages: Iterable[str], answers: Answers) -> None:
    if written and written not in stages:
        answers.refuse("planned_stage", f"one of {', '.join(stages)}", [written])
    elif written is not None and (written or None) != document.get("planned_stage"):
        answers.changes["planned_stage"] = written or None


def _read_date(name: str, written: str, document: Mapping[str, Any], today: datetime.date, answers: Answers) -> None:
    day = read_day(written)
    if written and day is None:
        answers.refuse(name, f"{written[:40]!r} is not a date; write it as YYYY-MM-DD", [written])
    elif (written or None) == (str(document[name]) if document.get(name) else None):
        return
    elif day is not None and day > today:
        answers.refuse(name, f"{day_words(day)} is later than today, {day_words(today)}", [written])
    else:
        answers.changes[name] = written or None


def _refuse_impossible(vocabulary: Vocabulary, document: Mapping[str, Any], answers: Answers) -> None:
    """Refuse what was changed in a pair that cannot stand together; what was there before stays."""
    for pair in vocabulary.impossible_together:
        after = changed(document, answers.changes)
        values = typed_values(vocabulary, after["findings"], after.get("none_found_in") or ())
        if conditions.judge(pair.when, values) is not True:
            continue
        names = sorted(conditions.findings_in(pair.when) & set(values))
        shown = ", ".join(f"{vocabulary.by_id[n].label}: {vocabulary.by_id[n].shown(values[n])}" for n in names)
        why = f"these cannot stand together: {shown} ({pair.because})"
        refused = [name for name in names if name in answers.changes]
        for name in refused:
            answers.refuse(name, why, as_sent(vocabulary.by_id[name], values[name]))
        if not refused:
            # Then a section said to hold nothing is what brought the pair about.
            answers.refuse("none_found_in", why, [])


def as_sent(finding: Finding, value: Value) -> list[str]:
    """What the form's fields hold for a value."""
    written = finding.written(value)
    return written.split("+") if finding.kind == "set" else [written]


def _refuse_finer(vocabulary: Vocabulary, document: Mapping[str, Any], answers: Answers) -> None:
    """Refuse what was changed where a finer finding says another thing than the coarser one, as a grade and a word."""
    for finding in vocabulary.findings:
        if finding.coarse is None:
            continue
        names = [name for name in (finding.coarse.into, finding.id, finding.coarse.width) if name is not None]
        after = changed(document, answers.changes)["findings"]
        both = {name: after[name] for name in names if after.get(name) is not None}
        try:
            read_case({"case": "both", "eye": document.get("eye"), "findings": both}, vocabulary)
        except PlannerError as error:
            why = "; ".join(f"{fault.why}; {fault.hint}" for fault in error.faults)
            values = typed_values(vocabulary, both)
            for name in [name for name in names if name in answers.changes and name in values]:
                answers.refuse(name, why, as_sent(vocabulary.by_id[name], values[name]))


def typed_values(
    vocabulary: Vocabulary, findings: Mapping[str, Any], looked_through: Iterable[str] = ()
) -> dict[str, Value]:
    """The typed values of what is recorded, and of what a section looked through fills in."""
    typed = {one.id: read for one in vocabulary.findings if (read := one.read(findings.get(one.id))) is not None}
    given = {name for name, value in findings.items() if value is not None}
    return typed | vouched_for(vocabulary, set(looked_through), typed, given)


def applies(finding: Finding, values: Mapping[str, Value]) -> bool:
    """Whether a finding is asked of this eye: always, or when what it hangs on is recorded so."""
    return finding.asked_when is None or conditions.judge(finding.asked_when, values) is True
