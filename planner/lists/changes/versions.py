"""A list as it is published: what is kept of it, and how a published one differs from what stands now."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from planner.lists.changes.differences import ListChange, changes
from planner.lists.output.calendar import Edition, Slot
from planner.lists.rules.checker import Verdict
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.week import Week
from planner.records.rows import ListVersion


def document_of(week: Week, session: str, verdict: Verdict) -> dict[str, Any]:
    """What is kept of a list: its rows, its minutes, the chance of overrun as a fraction, and what the checker said."""
    rows = [
        {
            "place": placing.place, "case": placing.case[0], "eye": placing.case[1], "trainee": placing.trainee,
            "supervisor": placing.supervisor, "tier": week.case(placing).tier, "whole": week.supervision(placing).whole,
            "stage": week.instance.trainees[placing.trainee].stage if placing.trainee else None,
            "mode": week.mode_served(placing) or week.supervision(placing).mode,
            "approval": approval.id if (approval := week.case(placing).approval) is not None else None,
            "minutes": round(week.with_turnover(placing)),
        }
        for placing in week.list_of(session)
    ]  # fmt: skip
    return {
        "rows": rows,
        "expected_minutes": round(week.expected_minutes(session)),
        "session_minutes": week.instance.sessions[session].minutes,
        "starts": f"{week.instance.sessions[session].starts:%H:%M}",
        "theatre": week.instance.sessions[session].theatre,
        "chance_of_overrun": round(week.chance_of_overrun(session), 4),
        "broken": [one.says for one in verdict.broken if one.session == session],
    }


def lists_of(session: str, document: Mapping[str, Any]) -> Lists:
    """The list that a version kept."""
    return Lists(
        tuple(
            Placing(session, row["place"], (row["case"], row["eye"]), row["trainee"], row["supervisor"])
            for row in document["rows"]
        )
    )


def differs(session: str, document: Mapping[str, Any], instance: Instance, now: Lists) -> tuple[ListChange, ...]:
    """How the list of a session differs now from a version of it; also where a row was approved again since."""
    own = Lists(tuple(placing for placing in now.placings if placing.session == session))
    before = lists_of(session, document)
    differences = changes(before, own)
    changed, was = {change.case for change in differences}, {placing.case: placing for placing in before.placings}
    kept = {(row["case"], row["eye"]): row.get("approval") for row in document["rows"]}
    again = [
        ListChange(placing.case, "approval", was[placing.case], placing)
        for placing in sorted(own.placings)
        if placing.case not in changed
        and placing.case in was
        and (approval := instance.cases[placing.case].approval) is not None
        and kept[placing.case] not in (None, approval.id)
    ]
    return (*differences, *again)


def editions_of(
    versions: Iterable[ListVersion], instance: Instance, now: Lists, on: datetime.date
) -> dict[str, Edition]:
    """What was published of each session, wherever it was held, for the calendar; who was on it counts from `on`."""
    editions = {}
    for name, group in groupby(sorted(versions, key=lambda one: (one.session, one.id)), lambda one: one.session):
        of_session = list(group)
        last, session = of_session[-1], instance.sessions.get(name)
        slot = _slot(last)
        stands = session is not None and slot == Slot.of(session) and not differs(name, last.document, instance, now)
        coming = [row for one in of_session if one.day >= on for row in one.document["rows"]]
        people = {code for row in coming for code in (row["trainee"], row["supervisor"]) if code is not None}
        at = datetime.datetime.fromisoformat(last.at).replace(microsecond=0)
        if people or session is not None:
            editions[name] = Edition(len(of_session), at, stands, frozenset(people), slot)
    return editions


def _slot(version: ListVersion) -> Slot:
    # What was published before the hour and the room were kept is told as an hour of the night, in no room.
    starts = datetime.time.fromisoformat(version.document.get("starts", "00:00"))
    begins = datetime.datetime.combine(version.day, starts)
    ends = begins + datetime.timedelta(minutes=version.document["session_minutes"])
    return Slot(begins, ends, version.document.get("theatre", ""))
