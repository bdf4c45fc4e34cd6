"""The form as it is shown: sections in the order of an examination, each finding a field with its words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from planner.case import Case, coarser_first, may_be_hidden
from planner.records.rows import CaseVersion
from planner.vocabulary import Finding, Vocabulary
from planner.web.cases.answers import LEFT_OPEN, Answers, applies, typed_values
from planner.wording.conditions import sentence
from planner.wording.words import lower_first

Shape = Literal["one-of", "any-of", "number", "date", "text"]
SHAPES: dict[str, Shape] = {
    "yes-no": "one-of", "choice": "one-of", "set": "any-of",
    "number": "number", "count": "number", "date": "date", "text": "text",
}  # fmt: skip


@dataclass(frozen=True)
class FieldOption:
    value: str
    label: str
    chosen: bool
    # Nothing is recorded while this one is chosen.
    open: bool = False


@dataclass(frozen=True)
class FormField:
    finding: Finding
    shape: Shape
    value: str
    choices: tuple[FieldOption, ...]
    recorded: bool
    wrong: str
    queries: tuple[str, ...]
    # Recorded earlier, and no longer asked of this eye.
    aside: bool
    # What an empty measure reads as in a section that was looked through.
    word: str
    # What hides it, or may, so that its section, though looked through, does not vouch for it.
    hidden: str
    # Left open it is read from a finer finding: so, and from which.
    finer: str


def stamps(versions: Iterable[CaseVersion]) -> dict[str, CaseVersion]:
    """Of each section the version since which it has been said to be looked through."""
    found: dict[str, CaseVersion] = {}
    for version in versions:
        found = {section: found.get(section, version) for section in version.document.get("none_found_in") or ()}
    return found


@dataclass(frozen=True)
class ShownSection:
    id: str
    label: str
    fields: tuple[FormField, ...]
    looked_through: bool
    stamp: CaseVersion | None
    # The findings that take a value from a section looked through, and those that stay open all the same.
    filled: str
    stays_open: str
    elsewhere: tuple[str, ...]


def shown_sections(
    vocabulary: Vocabulary,
    document: Mapping[str, Any],
    case: Case | None,
    answers: Answers,
    stamps: Mapping[str, CaseVersion],
) -> tuple[ShownSection, ...]:
    """Every section with its fields. `case` gives queries and values taken from sections, where it can be read."""
    findings: Mapping[str, Any] = document.get("findings") or {}
    values = dict(case.findings) if case else typed_values(vocabulary, findings, document.get("none_found_in") or ())
    queries: dict[str, list[str]] = {}
    for query in case.queries if case else ():
        queries.setdefault(query.finding, []).append(query.text)
    through = set(document.get("none_found_in") or ())

    def vouched(finding: Finding) -> bool:
        """Whether the section that was looked through says this finding: not where something may have hidden it."""
        return finding.section in through and not may_be_hidden(finding, values)

    def fills(finding: Finding) -> bool:
        """Whether looking through its section gives the finding a value."""
        return finding.unremarkable is not None and (finding.section not in through or vouched(finding))

    def hidden(finding: Finding) -> str:
        """What hides it, or may, where its section was looked through and nothing is recorded of it."""
        left = finding.section in through and findings.get(finding.id) in (None, LEFT_OPEN)
        if not left or finding.unremarkable is None or finding.hidden_when is None or vouched(finding):
            return ""
        return sentence(finding.hidden_when, vocabulary, {})

    def finer(finding: Finding) -> str:
        """What is read of it from a finer finding that was recorded, in words."""
        if case is None or finding.id not in case.from_finer:
            return ""
        source = next(f for f in vocabulary.findings if f.coarse is not None and f.coarse.into == finding.id)
        return f"{finding.shown(case.findings[finding.id])}, from {lower_first(source.label)}"

    def field(finding: Finding, aside: bool) -> FormField:
        kept, looked_through, from_finer = findings.get(finding.id), vouched(finding), finer(finding)
        written = answers.written.get(finding.id)
        if written is None:
            typed = finding.read(kept) if kept is not None else None
            one = LEFT_OPEN if kept == LEFT_OPEN else "" if typed is None else finding.written(typed)
            written = one.split("+") if finding.kind == "set" and one else [one]
        from_section = looked_through and finding.unremarkable is not None and kept is None
        return FormField(
            finding, SHAPES[finding.kind], written[0] if written else "",
            _choices(finding, written, looked_through, from_finer),
            kept not in (None, LEFT_OPEN) or bool(from_finer) or from_section,
            answers.wrong.get(finding.id, ""), tuple(queries.get(finding.id, ())), aside,
            _empty_reads_as(finding, looked_through), hidden(finding), from_finer,
        )  # fmt: skip

    shown = []
    ordered = coarser_first(vocabulary)
    for section in vocabulary.sections:
        of_it = [f for f in ordered if f.section == section.id]
        asked = [f for f in of_it if applies(f, values)]
        aside = [f for f in of_it if f not in asked and (f.id in findings or f.id in answers.wrong)]
        fields = tuple(field(f, f in aside) for f in of_it if f in asked or f in aside)
        elsewhere = tuple(
            f"{f.label} (when {sentence(f.asked_when, vocabulary, {})})"
            for f in of_it
            if f not in asked and f not in aside and f.asked_when is not None
        )
        filled = ", ".join(f"{lower_first(f.label)}: {f.unremarkable}" for f in asked if fills(f))
        stays = ", ".join(lower_first(f.label) for f in asked if not fills(f))
        shown.append(
            ShownSection(
                section.id, section.label, fields, section.id in through, stamps.get(section.id), filled, stays,
                elsewhere,
            )
        )  # fmt: skip
    return tuple(shown)


def _empty_reads_as(finding: Finding, looked_through: bool) -> str:
    if not looked_through or finding.unremarkable is None or SHAPES[finding.kind] != "number":
        return ""
    return f"left empty it reads as {finding.unremarkable}, none found; write {LEFT_OPEN} if it was not looked at"


def _choices(finding: Finding, written: list[str], looked_through: bool, finer: str) -> tuple[FieldOption, ...]:
    labels = {"yes": "yes", "no": "no"} if finding.kind == "yes-no" else dict(finding.values)
    if not labels:
        return ()
    from_section = looked_through and finding.unremarkable is not None
    if finding.kind == "set":
        items = [*labels.items(), ("none", "none")]
        openers = [(LEFT_OPEN, "not looked at")] if from_section else []
        return tuple(
            FieldOption(value, label, value in written, (value, label) in openers) for value, label in items + openers
        )
    first = finding.unremarkable or ""
    chosen = written[0] if written else ""
    if from_section:
        opening = [("", f"none found: {labels.get(first, first)}"), (LEFT_OPEN, "not looked at")]
    else:
        # Kept as it was said: no section may fill it once it can be seen again.
        kept = LEFT_OPEN if chosen == LEFT_OPEN else ""
        opening = [(kept, f"left open: {finer}" if finer else "not recorded")]
    return tuple(
        FieldOption(value, label, value == chosen, (value, label) in opening)
        for value, label in [*opening, *labels.items()]
    )


def labels(vocabulary: Vocabulary) -> dict[str, str]:
    """The label of each finding, and of each heading that the form holds."""
    headings = {
        "planned_stage": "Planned for", "listed_on": "Put on the waiting list", "recorded_on": "Examined on",
        "none_found_in": "Looked through",
    }  # fmt: skip
    return headings | {finding.id: finding.label for finding in vocabulary.findings}


def shown_value(vocabulary: Vocabulary, name: str, value: Any) -> str:
    """A finding or heading as a document holds it, in words."""
    finding = vocabulary.by_id.get(name)
    if finding is not None:
        return finding.shown(finding.read(value) if value is not None else None)
    if name == "none_found_in":
        sections = {section.id: section.label for section in vocabulary.sections}
        return "; ".join(sections.get(item, item) for item in value or ()) or "none"
    return str(value) if value is not None else "not recorded"
