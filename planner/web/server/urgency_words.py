"""Whose turn a case is: the order of every table of cases, and the words in it."""

from __future__ import annotations

from planner.documents.figures import day
from planner.lists.week.urgency import Waiting, days, waiting
from planner.readings import read_day
from planner.records.rows import CaseVersion
from planner.web.server.site import Site


def turn(site: Site, version: CaseVersion) -> tuple[object, ...]:
    """Past its date first, then the most urgent, then the longest wait."""
    return waiting_of(site, version).turn(bool(past_words(site, version)))


def urgency_words(site: Site, version: CaseVersion) -> str:
    """`5 days past its date; soon, by 30 November 2026; waiting 40 days since listed`."""
    finding, said = site.rulebook.vocabulary.by_id.get("urgency"), version.findings.get("urgency")
    shown = finding.shown(finding.read(said)) if finding and said else "not recorded"
    waits = waiting_of(site, version)
    told = [past_words(site, version), f"{shown}, by {day(waits.last_day)}" if waits.last_day else shown]
    if waits.since is None:
        told.append("no day that waiting counts from")
    else:
        told.append(f"waiting {days(max(0, (site.day_here() - waits.since).days))} since {waits.counted}")
    return "; ".join(filter(None, told))


def past_words(site: Site, version: CaseVersion) -> str:
    """`5 days past its date`; nothing for a case in time."""
    last = waiting_of(site, version).last_day
    late = (site.day_here() - last).days if last else 0
    return f"{days(late)} past its date" if late > 0 else ""


def waiting_of(site: Site, version: CaseVersion) -> Waiting:
    """What the case says, with the unit's own targets where the server knows the sessions file."""
    findings, document = version.findings, version.document
    listed, recorded = read_day(document.get("listed_on")), read_day(document.get("recorded_on"))
    limits = site.lists.roster.limits if site.lists else None
    return waiting(findings.get("urgency"), read_day(findings.get("needed_by")), listed, recorded, limits)
