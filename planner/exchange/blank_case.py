"""A blank case to fill in: YAML with every finding, its unit and when it is asked, or the header of a CSV table."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from planner.case import HEADINGS, STAGES, coarser_first
from planner.vocabulary import Finding, Vocabulary
from planner.wording.conditions import sentence
from planner.wording.words import lower_first

WIDTH = 100


def header_line(vocabulary: Vocabulary) -> str:
    """The header of a CSV table that holds every heading and finding."""
    headings = [heading for heading in HEADINGS if heading != "findings"]
    return ",".join([*headings, *(written_as(finding) for finding in coarser_first(vocabulary))]) + "\n"


def written_as(finding: Finding) -> str:
    """The name under which a finding is asked: its own, or the one that takes a Snellen fraction too."""
    return finding.snellen_as or finding.id


def blank_case(vocabulary: Vocabulary) -> Iterator[str]:
    """The lines of a YAML case that is whole once `case` and `eye` are filled in."""
    sections = ", ".join(section.id for section in vocabulary.sections)
    yield from _comment("One eye. Fill in case and eye; take the # away from each finding that was looked for.", "")
    yield from _comment("What is left out, or not-recorded, stays unknown: it is never read as normal.", "")
    yield from _comment("Some are asked only when something calls for them; recorded all the same, they are used.", "")
    needed = ", ".join(lower_first(vocabulary.by_id[name].label) for name in vocabulary.on_record_needs)
    if needed:
        yield from _comment(f"No technique is written without {needed}.", "")
    yield "case:                     # the unit's own reference; never a patient's name or number"
    yield "# patient:                # optional pseudonym, so that one patient's two eyes are known as such"
    yield "eye:                      # right | left"
    yield f"# planned_stage:          # {' | '.join(STAGES)}"
    yield "# listed_on:              # YYYY-MM-DD, put on the waiting list; without it waiting counts from recorded_on"
    yield "# recorded_on:            # YYYY-MM-DD"
    yield "# examined_by:            # a role code, not a name"
    yield from _comment("Sections looked through: what is not listed there is read as nothing found. Measures,", "")
    yield from _comment("consent and agreement stay unknown, and so does what could not be seen in this eye.", "")
    yield from _comment(f"Any of {sections}.", "")
    yield "# none_found_in: []"
    yield "findings:"
    for section in vocabulary.sections:
        yield ""
        yield f"  # == {section.label} ({section.id}) =="
        for finding in coarser_first(vocabulary):
            if finding.section == section.id:
                yield ""
                yield from _finding(finding, vocabulary)


def _finding(finding: Finding, vocabulary: Vocabulary) -> Iterator[str]:
    essential = " (essential)" if finding.essential else ""
    yield from _comment(f"{finding.label}{essential}: {finding.measured}", "  ")
    if finding.asked_when is not None:
        yield from _comment(f"asked when {sentence(finding.asked_when, vocabulary, {})}", "  ")
    if finding.coarse is not None:
        said = lower_first(vocabulary.by_id[finding.coarse.into].label)
        yield from _comment(f"finer than {said}, which is read from it: one of the two is enough", "  ")
    if finding.preference:
        yield from _comment("a preference: left blank, the usual is planned and nothing is held against the eye", "  ")
    if finding.hidden_when is not None and finding.unremarkable is not None:
        hidden = sentence(finding.hidden_when, vocabulary, {})
        yield from _comment(f"not covered by none_found_in while {hidden}", "  ")
    fraction = f"a Snellen fraction such as 6/18 or 20/60, or logMAR, {finding.allowed}" if finding.snellen_as else ""
    yield f"  # {written_as(finding) + ':':<28} # {fraction or finding.allowed}"


def _comment(text: str, indent: str) -> list[str]:
    start = f"{indent}# "
    return textwrap.wrap(text, WIDTH, initial_indent=start, subsequent_indent=start, break_on_hyphens=False)
