"""A list as it is published: what is kept of it, and how a published one differs from what stands now."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.lists.changed import Change, changes
from planner.lists.checker import Verdict
from planner.lists.instance import Lists, Placing
from planner.lists.week import Week


def document_of(week: Week, session: str, verdict: Verdict) -> dict[str, Any]:
    """What is kept of a list: its rows, its minutes, the chance of overrun as a fraction, and what the checker said."""
    rows = [
        {
            "place": placing.place, "case": placing.case[0], "eye": placing.case[1], "trainee": placing.trainee,
            "supervisor": placing.supervisor, "tier": week.case(placing).tier,
            "stage": week.instance.trainees[placing.trainee].stage if placing.trainee else None,
            "mode": week.mode_served(placing) or week.supervision(placing).mode,
            "minutes": round(week.time(placing).mean + week.case(placing).added_minutes + week.instance.turnover),
        }
        for placing in week.list_of(session)
    ]  # fmt: skip
    return {
        "rows": rows,
        "expected_minutes": round(week.expected_minutes(session)),
        "session_minutes": week.instance.sessions[session].minutes,
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


def differs(session: str, document: Mapping[str, Any], now: Lists) -> tuple[Change, ...]:
    """How the list of a session differs now from a version of it."""
    own = Lists(tuple(placing for placing in now.placings if placing.session == session))
    return changes(lists_of(session, document), own)
