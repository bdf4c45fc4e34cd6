"""How urgent a case is: the order of every table of cases, and the words in it."""

from __future__ import annotations

from planner.documents.figures import day
from planner.records.rows import CaseVersion
from planner.rulebook.rulebook import Rulebook


def urgency_rank(rulebook: Rulebook, version: CaseVersion) -> tuple[int, str]:
    """The most urgent first, then the day it is needed by; not recorded stands before what is said to be the least."""
    finding = rulebook.vocabulary.by_id.get("urgency")
    order = list(finding.values) if finding else []
    said = version.findings.get("urgency")
    rank = 2 * order.index(said) if said in order else 1
    return -rank, str(version.findings.get("needed_by") or "9999")


def urgency_words(rulebook: Rulebook, version: CaseVersion) -> str:
    """`soon, by 30 November 2026`."""
    finding, said = rulebook.vocabulary.by_id.get("urgency"), version.findings.get("urgency")
    shown = finding.shown(finding.read(said)) if finding and said else "not recorded"
    needed_by = version.findings.get("needed_by")
    return f"{shown}, by {day(str(needed_by))}" if needed_by else shown
