"""How a case stands, in words: its state, who does what, whose turn it is in every table of cases."""

from __future__ import annotations

from planner.documents.figures import day, moment
from planner.lists.week.urgency import Waiting, days, waiting
from planner.local_time import local, wall
from planner.readings import read_day
from planner.records.approval_validity import holds_until, standing_on
from planner.records.rows import CaseNow, CaseVersion, State
from planner.web.server.site import Site


def state_of(site: Site, now: CaseNow) -> str:
    """A case's state in words; an approval that no longer stands is not called one."""
    standing = standing_on(now, site.day_here(), site.rulebook)
    if standing is not None and standing.state != "stands":
        return "Approval lapsed"
    words: dict[State, str] = {
        "draft": "Draft",
        "sent-back": "Question to answer",
        "submitted": "Waits for approval",
        "approved": "Approved",
        "listed": "Approved, on a list",
        "operated": "Operated",
    }
    return words[now.state]


def rests_on_it(now: CaseNow) -> str:
    """What a change ends that a consultant has, or has been given, to decide on; empty for a case still in hand."""
    words: dict[State, str] = {
        "submitted": "It waits for approval. Saving a change takes it back, to be submitted again.",
        "approved": "It is approved. Saving a change withdraws that approval, and tells whoever gave it.",
        "listed": "It is approved and on a list. Saving a change withdraws the approval, and tells whoever gave it.",
        "operated": "It has been operated on.",
    }
    return words.get(now.state, "")


def clock_time(at: str) -> str:
    """The time of a stored moment by the unit's clock, `10:32`."""
    return f"{local(at):%H:%M}"


def day_and_time(at: str) -> str:
    """`2 November 2026, 10:32` by the unit's clock."""
    return moment(wall(at))


def turn(site: Site, version: CaseVersion) -> tuple[object, ...]:
    """Past its date first, then the most urgent, then the longest wait."""
    return waiting_of(site, version).turn(bool(past_words(site, version)))


def urgency_words(site: Site, version: CaseVersion) -> str:
    """`5 days past its date; soon, by 30 November 2026; waiting 40 days since listed`."""
    shown, waits = finding_words(site, version, "urgency"), waiting_of(site, version)
    told = [past_words(site, version), f"{shown}, by {day(waits.last_day)}" if waits.last_day else shown]
    if waits.since is None:
        told.append("no day that waiting counts from")
    else:
        told.append(f"waiting {days(max(0, (site.day_here() - waits.since).days))} since {waits.counted}")
    return "; ".join(filter(None, told))


def finding_words(site: Site, version: CaseVersion, name: str) -> str:
    """A finding as it is recorded."""
    finding, value = site.rulebook.vocabulary.by_id.get(name), version.findings.get(name)
    return finding.shown(finding.read(value)) if finding and value is not None else "not recorded"


def holds_words(site: Site, now: CaseNow) -> str:
    """`30 November 2026 (biometry date)`: until when what was measured holds, and which date says so."""
    until = holds_until(now, site.rulebook)
    return f"{day(until[0])} ({until[1]})" if until else "no dated measurement"


def past_words(site: Site, version: CaseVersion) -> str:
    """`5 days past its date`; nothing for a case in time."""
    last = waiting_of(site, version).last_day
    late = (site.day_here() - last).days if last else 0
    return f"{days(late)} past its date" if late > 0 else ""


def waiting_of(site: Site, version: CaseVersion) -> Waiting:
    """What the case says, with the unit's own targets where the server knows the sessions file."""
    findings, document = version.findings, version.document
    listed, recorded = read_day(document.get("listed_on")), read_day(document.get("recorded_on"))
    limits = site.desk.lists.roster.limits if site.desk.lists else None
    return waiting(findings.get("urgency"), read_day(findings.get("needed_by")), listed, recorded, limits)
