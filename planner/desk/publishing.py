"""Publishing a session's list: kept as its next version only where every row is what was approved."""

from __future__ import annotations

from collections.abc import Mapping

from planner.desk.desk import Desk
from planner.errors import Fault, PlannerError
from planner.lists.changes.versions import document_of
from planner.lists.rules.checker import Verdict
from planner.lists.rules.people import approval_covers
from planner.lists.week.week import Week
from planner.plan.approved import NotCoveredError
from planner.records.roles import DECIDERS
from planner.records.rows import ListVersion, Person

RULE_BROKEN = "A rule is broken: a consultant may publish this list, with a note that says why it stands all the same."


def publish(
    desk: Desk,
    week: Week,
    session: str,
    verdict: Verdict,
    person: Person,
    note: str,
    told: Mapping[str, str],
    after: int,
) -> ListVersion:
    """Keep a session's list as the version that follows `after`, with the notice for each person in `told`.

    Another rule that is broken a consultant may answer for, with a note. Raises NotCoveredError where a row is not what
    was approved, which nobody may publish, PlannerError for the rest.
    """
    broken = [one for one in verdict.broken if one.session == session]
    uncovered = [one for one in broken if one.rule == approval_covers.id]
    if uncovered:
        why = "nothing is published that was not approved"
        raise NotCoveredError([Fault("", one.says, why, one.change) for one in uncovered])
    if broken and (person.role not in DECIDERS or not note):
        raise PlannerError.one(RULE_BROKEN)
    day = week.instance.sessions[session].day
    return desk.store.publish(day, session, document_of(week, session, verdict), person.code, note, told, after=after)
