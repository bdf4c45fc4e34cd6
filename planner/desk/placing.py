"""Lists arranged by hand, proposed by the matching, published: nothing stands on them that was not approved."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace

from planner.desk.desk import Desk
from planner.desk.lists import ListsNow
from planner.desk.plan_in_force import seat_at
from planner.errors import Fault, PlannerError
from planner.lists.changes.versions import document_of
from planner.lists.matching.best import best
from planner.lists.matching.match import Matched, match
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.people import approval_covers
from planner.lists.rules.rule import Broken
from planner.lists.week.from_records import RecordedLists
from planner.lists.week.instance import Lists
from planner.lists.week.week import Week
from planner.plan.approved import NotCoveredError, allocated
from planner.records.approval_validity import given_in
from planner.records.roles import DECIDERS
from planner.records.rows import CaseNow, ListPlace, ListVersion, Person


def arrange(desk: Desk, held: RecordedLists, lists: Lists, by: str, why: str = "", although: str = "") -> int:
    """Bring the lists to these. Returns how many cases changed. Raises NotCoveredError, or what the store refuses.

    What stood uncovered before, since an approval ended meanwhile, may stay or come off; nothing new comes to stand so.
    """
    before = {(one.case, one.trainee) for one in held.lists.placings}
    came = tuple(one for one in lists.placings if (one.case, one.trainee) not in before)
    faults = [*approval_covers.judge(Week(held.instance, Lists(came)))]
    if faults:
        raise NotCoveredError([Fault("", one.says, "only what was approved is placed", one.change) for one in faults])
    return held.arrange(desk.store, lists, by, why, although)


def allocate(
    desk: Desk,
    now: CaseNow,
    day: datetime.date,
    theatre: str,
    place: int,
    trainee: str | None,
    supervisor: str,
    by: str,
) -> ListPlace:
    """Give a case a place by hand, where no sessions are kept. Raises NotCoveredError, or what the store refuses."""
    given = given_in(now, desk.rulebook)
    approval = now.approval.id if now.approval else None
    if given is not None and trainee is not None:
        seat = seat_at(desk, trainee, supervisor)
        if seat.stage is not None:
            allocated(desk.plans.plan(now.version, seat.stage), desk.rulebook, given)
    return desk.store.allocate(now.case.id, day, theatre, place, supervisor, by, trainee, approval=approval)


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
        may = "a consultant may publish this list, with a note that says why it stands all the same."
        raise PlannerError.one(f"A rule is broken: {may}")
    day = week.instance.sessions[session].day
    return desk.store.publish(day, session, document_of(week, session, verdict), person.code, note, told, after=after)


def barred(now: ListsNow, again: bool) -> tuple[Broken, ...]:
    """What is broken in the lists that would stay, so that nothing can be matched round them."""
    return check(now.instance, now.held.kept).broken if again else now.verdict.broken


def propose(now: ListsNow, again: bool, seconds: float | None = None) -> Matched:
    """Match waiting cases round what stands; `again` everything that is not locked, with few changes.

    With `seconds` a search for the best lasts about so long. Raises PlannerError where the solver is not installed.
    """
    # Nobody can be put on a session that is over.
    coming = {session.id: session for session in now.sessions}
    instance = replace(now.instance, published=now.lists, sessions=coming)
    kept = now.held.kept if again else now.lists
    return match(instance, kept) if seconds is None else best(instance, kept, seconds)


def accept(desk: Desk, now: ListsNow, lists: Lists, by: str, why: str) -> tuple[Broken, ...]:
    """Enter proposed lists. What they break anew bars them, and is returned, unless `why` says why all the same.

    On the morning the roster may be behind: what was broken before, or was told, is the people's to judge. Raises
    NotCoveredError, or what the store refuses.
    """
    broken = now.new_faults(lists)
    if broken and not why:
        return broken
    arrange(desk, now.held, lists, by, why or "accepted from a proposal")
    return ()
