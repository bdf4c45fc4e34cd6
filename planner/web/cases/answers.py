"""What a browser's form says of a case: each field read by itself, so that one bad value keeps none of the others."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import FormData

from planner import conditions
from planner.case import read_case, vouched_for
from planner.conditions import Value
from planner.errors import PlannerError
from planner.readings import read_day
from planner.records.changes import changed
from planner.records.identifiers import free_text_fault
from planner.vocabulary import NOT_RECORDED, Finding, Vocabulary
from planner.wording.words import day_words

# Names in the form: `f.` a finding, `none.` a section looked through, `h.` a heading of the case.
FINDING, SECTION, HEADING = "f.", "none.", "h."
# Inside a section that was looked through this says that a finding was not looked at after all.
LEFT_OPEN = NOT_RECORDED[0]
DATES = ("listed_on", "recorded_on")  # headings


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
    form: FormData, document: Mapping[str, Any], vocabulary: Vocabulary, stages: tuple[str, ...], today: datetime.date
) -> Answers:
    """Compare a form with the version it was made from. Fields that the form does not hold are left as they are.

    A date of a measurement later than `today` is refused: a year mistyped would hold for years.
    """
    answers = Answers()
    findings: Mapping[str, Any] = document.get("findings") or {}
    for finding in vocabulary.findings:
        key = FINDING + finding.id
        if key in form:
            _read_finding(finding, [str(item) for item in form.getlist(key)], findings.get(finding.id), today, answers)
    _read_headings(form, document, vocabulary, stages, today, answers)
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
    new = LEFT_OPEN if raw == LEFT_OPEN else None if typed is None else plain(finding, typed)
    if new != _as_plain(finding, kept):
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


def plain(finding: Finding, value: Value) -> Any:
    """A typed value as a case's document keeps it."""
    if isinstance(value, float):
        return int(value) if value == int(value) else value
    if isinstance(value, frozenset):
        return [item for item in finding.values if item in value] or "none"
    return finding.written(value)


def _as_plain(finding: Finding, kept: Any) -> Any:
    if kept is None or kept == LEFT_OPEN:
        return kept
    typed = finding.read(kept)
    return None if typed is None else plain(finding, typed)


def _read_headings(
    form: FormData,
    document: Mapping[str, Any],
    vocabulary: Vocabulary,
    stages: tuple[str, ...],
    today: datetime.date,
    answers: Answers,
) -> None:
    stage = form.get(HEADING + "planned_stage")
    if isinstance(stage, str):
        if stage and stage not in stages:
            answers.refuse("planned_stage", f"one of {', '.join(stages)}", [stage])
        elif (stage or None) != document.get("planned_stage"):
            answers.changes["planned_stage"] = stage or None
    for name in DATES:
        written = form.get(HEADING + name)
        if not isinstance(written, str):
            continue
        written = written.strip()
        day = read_day(written)
        if written and day is None:
            answers.refuse(name, f"{written[:40]!r} is not a date; write it as YYYY-MM-DD", [written])
        elif (written or None) == (str(document[name]) if document.get(name) else None):
            continue
        elif day is not None and day > today:
            answers.refuse(name, f"{day_words(day)} is later than today, {day_words(today)}", [written])
        else:
            answers.changes[name] = written or None
    before = list(document.get("none_found_in") or [])
    after = []
    for section in vocabulary.sections:
        if SECTION + section.id not in form:
            looked_through = section.id in before
        else:
            looked_through = "yes" in form.getlist(SECTION + section.id)
        if looked_through:
            after.append(section.id)
    if after != before:
        answers.changes["none_found_in"] = after or None


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
            answers.refuse(name, why, _as_sent(vocabulary.by_id[name], values[name]))
        if not refused:
            # Then a section said to hold nothing is what brought the pair about.
            answers.refuse("none_found_in", why, [])


def _as_sent(finding: Finding, value: Value) -> list[str]:
    """What the form's fields held for it."""
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
                answers.refuse(name, why, _as_sent(vocabulary.by_id[name], values[name]))


def typed_values(
    vocabulary: Vocabulary, findings: Mapping[str, Any], looked_through: Iterable[str] = ()
) -> dict[str, Value]:
    """The typed values of what is recorded, and of what a section looked through fills in."""
    typed: dict[str, Value] = {}
    for finding in vocabulary.findings:
        value = findings.get(finding.id)
        if value is not None and (read := finding.read(value)) is not None:
            typed[finding.id] = read
    given = {name for name, value in findings.items() if value is not None}
    return typed | vouched_for(vocabulary, set(looked_through), typed, given)


def applies(finding: Finding, values: Mapping[str, Value]) -> bool:
    """Whether a finding is asked of this eye: always, or when what it hangs on is recorded so."""
    if finding.asked_when is None:
        return True
    return conditions.judge(finding.asked_when, values) is True
