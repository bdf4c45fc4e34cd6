"""The form as it is shown: sections in the order of an examination, each finding a field with its words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from planner.case import Case, coarser_first, may_be_hidden
from planner.records.rows import CaseVersion
from planner.vocabulary import Finding, Vocabulary
from planner.web.cases.answers import LEFT_OPEN, Answers, applies, as_sent, typed_values
from planner.wording.conditions import sentence
from planner.wording.words import lower_first

SHAPES = {
    "yes-no": "one-of", "choice": "one-of", "set": "any-of",
    "number": "number", "count": "number", "date": "date", "text": "text",
}  # fmt: skip


class FieldOption(NamedTuple):
    """A value to choose; nothing is recorded while one that is `open` is chosen."""

    value: str
    label: str
    chosen: bool
    open: bool = False


class FormField(NamedTuple):
    """A finding as the form shows it.

    `aside`: recorded earlier, and no longer asked of this eye. `word` is what an empty measure reads as in a section
    that was looked through, `hidden` what hides it, or may, so that such a section does not vouch for it, and `finer`
    what it is read as while it is left open, and from which finer finding.
    """

    finding: Finding
    shape: str
    value: str
    choices: tuple[FieldOption, ...]
    recorded: bool
    wrong: str
    queries: tuple[str, ...]
    aside: bool
    word: str
    hidden: str
    finer: str


class ShownSection(NamedTuple):
    """A section of the form. `filled` are the findings that take a value from it once it was looked through,
    `stays_open` those that do not, in words; `stamp` is the version since which it is said to be looked through."""

    id: str
    label: str
    fields: tuple[FormField, ...]
    looked_through: bool
    stamp: CaseVersion | None
    filled: str
    stays_open: str
    elsewhere: tuple[str, ...]


def stamps(versions: Iterable[CaseVersion]) -> dict[str, CaseVersion]:
    """Of each section the version since which it has been said to be looked through."""
    found: dict[str, CaseVersion] = {}
    for version in versions:
        found = {section: found.get(section, version) for section in version.document.get("none_found_in") or ()}
    return found


def shown_sections(
    vocabulary: Vocabulary,
    document: Mapping[str, Any],
    case: Case | None,
    answers: Answers,
    stamps: Mapping[str, CaseVersion],
) -> tuple[ShownSection, ...]:
    """Every section with its fields. `case` gives queries and values taken from sections, where it can be read."""
    findings: Mapping[str, Any] = document.get("findings") or {}
    through = set(document.get("none_found_in") or ())
    values = dict(case.findings) if case else typed_values(vocabulary, findings, through)

    def vouched(finding: Finding) -> bool:
        """Whether the section that was looked through says this finding: not where something may have hidden it."""
        return finding.section in through and not may_be_hidden(finding, values)

    def fills(finding: Finding) -> bool:
        """Whether looking through its section gives the finding a value."""
        return finding.unremarkable is not None and (finding.section not in through or vouched(finding))

    def hidden(finding: Finding) -> str:
        left = finding.section in through and findings.get(finding.id) in (None, LEFT_OPEN)
        if not left or finding.unremarkable is None or finding.hidden_when is None or vouched(finding):
            return ""
        return sentence(finding.hidden_when, vocabulary, {})

    def finer(finding: Finding) -> str:
        if case is None or finding.id not in case.from_finer:
            return ""
        source = next(f for f in vocabulary.findings if f.coarse is not None and f.coarse.into == finding.id)
        return f"{finding.shown(case.findings[finding.id])}, from {lower_first(source.label)}"

    def field(finding: Finding, aside: bool) -> FormField:
        kept, from_finer, shape = findings.get(finding.id), finer(finding), SHAPES[finding.kind]
        reads_as = finding.unremarkable if vouched(finding) else None
        written = answers.written.get(finding.id)
        if written is None:
            typed = finding.read(kept)
            written = [LEFT_OPEN if kept == LEFT_OPEN else ""] if typed is None else as_sent(finding, typed)
        word = f"left empty it reads as {reads_as}, none found; write {LEFT_OPEN} if it was not looked at"
        return FormField(
            finding, shape, written[0] if written else "", _choices(finding, written, reads_as, from_finer),
            kept not in (None, LEFT_OPEN) or bool(from_finer) or (reads_as is not None and kept is None),
            answers.wrong.get(finding.id, ""),
            tuple(query.text for query in case.queries if query.finding == finding.id) if case else (), aside,
            word if reads_as is not None and shape == "number" else "", hidden(finding), from_finer,
        )  # fmt: skip

    shown = []
    for section in vocabulary.sections:
        of_it = [f for f in coarser_first(vocabulary) if f.section == section.id]
        asked = [f for f in of_it if applies(f, values)]
        aside = [f for f in of_it if f not in asked and (f.id in findings or f.id in answers.wrong)]
        fields = tuple(field(f, f in aside) for f in of_it if f in asked or f in aside)
        elsewhere = tuple(
            f"{f.label} (when {sentence(f.asked_when, vocabulary, {})})"
            for f in of_it
            if f not in asked and f not in aside and f.asked_when is not None
        )
        filled = ", ".join(f"{lower_first(f.label)}: {f.unremarkable}" for f in asked if fills(f))
        stays, stamp = ", ".join(lower_first(f.label) for f in asked if not fills(f)), stamps.get(section.id)
        looked = section.id in through
        shown.append(ShownSection(section.id, section.label, fields, looked, stamp, filled, stays, elsewhere))
    return tuple(shown)


def _choices(finding: Finding, written: list[str], reads_as: str | None, finer: str) -> tuple[FieldOption, ...]:
    """What can be chosen of it; `reads_as` is what its section says of it while it is left open."""
    labels = {"yes": "yes", "no": "no"} if finding.kind == "yes-no" else dict(finding.values)
    chosen = written[0] if written else ""
    if not labels:
        return ()
    if finding.kind == "set":
        opening, options = (
            [(LEFT_OPEN, "not looked at")] if reads_as is not None else [],
            [*labels.items(), ("none", "none")],
        )
        return tuple(FieldOption(*one, one[0] in written, one in opening) for one in options + opening)
    if reads_as is not None:
        opening = [("", f"none found: {labels.get(reads_as, reads_as)}"), (LEFT_OPEN, "not looked at")]
    else:
        # Kept as it was said: no section may fill it once it can be seen again.
        kept = LEFT_OPEN if chosen == LEFT_OPEN else ""
        opening = [(kept, f"left open: {finer}" if finer else "not recorded")]
    return tuple(FieldOption(*one, one[0] == chosen, one in opening) for one in [*opening, *labels.items()])


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
