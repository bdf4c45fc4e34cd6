"""The lists' world after what happened that morning: who is there, which sessions, and when each can go on."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, replace

from planner.errors import Fault, PlannerError
from planner.lists.changes.disruption import CaseAdded, Disruption
from planner.lists.roster.shapes import KitSets
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week


@dataclass(frozen=True)
class DisruptedWeek:
    """The instance as it is now, and what happened to sessions and cases, each with why.

    `lists` are those printed without what is cancelled, the begun cases first on theirs. `days` are those to change.
    """

    instance: Instance
    lists: Lists
    lost: dict[str, str]
    cancelled: dict[Key, str]
    added: dict[Key, CaseAdded]
    begun: frozenset[Key]
    days: frozenset[datetime.date]
    now: datetime.datetime | None


def disrupted_week(instance: Instance, lists: Lists, disruption: Disruption) -> DisruptedWeek:
    """The world after what happened. Raises PlannerError for a case begun, or cancelled, and on no list; or both."""
    if faults := list(_contrary(instance, lists, disruption)):
        raise PlannerError(faults)
    now = disruption.at(instance.sessions)
    begun = instance.begun | {one.key for one in disruption.begun}
    cancelled = {one.key: one.because for one in disruption.cancelled}
    of_them = {instance.sessions[p.session].day for p in lists.placings if p.case in begun or p.case in cancelled}
    of_sessions = {instance.sessions[changed.session].day for changed in disruption.changed}
    days = disruption.days | of_them | of_sessions
    changed = replace(_without_those_away(_with_changed_sessions(instance, disruption), disruption), begun=begun)
    left = [placing for placing in lists.placings if placing.case not in cancelled]
    kept = replace(lists, placings=tuple(_begun_first(left, begun)))
    return DisruptedWeek(
        replace(changed, taken=dict(_taken(changed, kept, disruption, now))), kept,
        {one.session: one.because for one in disruption.changed if one.lost}, cancelled,
        {one.key: one for one in disruption.added}, begun,
        frozenset(day for day in days if now is None or day >= now.date()), now,
    )  # fmt: skip


def _contrary(instance: Instance, lists: Lists, disruption: Disruption) -> Iterator[Fault]:
    begun = sorted({one.key for one in disruption.begun})
    named = [("begun", key) for key in begun] + [("cancelled", one.key) for one in disruption.cancelled]
    for name, key in named:
        if key not in lists.placed:
            what = f"{name}, and on no list"
            yield Fault(instance.cases[key].in_words, what, hint="leave it out, or add it to a day")
        elif name == "cancelled" and key in begun:
            yield Fault(instance.cases[key].in_words, "begun and cancelled", hint="one of the two")


def _without_those_away(instance: Instance, disruption: Disruption) -> Instance:
    trainees, supervisors, sessions = dict(instance.trainees), dict(instance.supervisors), dict(instance.sessions)
    because = dict(instance.away_because)
    for away in disruption.away:
        if away.who in trainees:
            trainees[away.who] = replace(trainees[away.who], leave=trainees[away.who].leave | {away.day})
        if away.who in supervisors:
            supervisor = supervisors[away.who]
            supervisors[away.who] = supervisor.model_copy(update={"leave": [*supervisor.leave, away.day]})
            for name, session in sessions.items() if away.instead is not None else ():
                if session.day == away.day and away.who in session.supervisors:
                    sessions[name] = session.model_copy(update={"supervisors": [*session.supervisors, away.instead]})
        because[away.who, away.day] = away.because
    return replace(instance, trainees=trainees, supervisors=supervisors, sessions=sessions, away_because=because)


def _with_changed_sessions(instance: Instance, disruption: Disruption) -> Instance:
    sessions = dict(instance.sessions)
    for changed in disruption.changed:
        session = sessions[changed.session]
        kit = {item: session.kit.get(item, KitSets(sets=sets)) for item, sets in changed.sets.items()}
        fewer = {item: kit[item].model_copy(update={"sets": sets}) for item, sets in changed.sets.items()}
        update: dict[str, object] = {"kit": session.kit | fewer}
        if changed.minutes is not None:
            update["minutes"] = changed.minutes
        if changed.without_anaesthetist:
            update["anaesthetist"] = False
        sessions[changed.session] = session.model_copy(update=update)
    return replace(instance, sessions=sessions)


def _begun_first(placings: list[Placing], begun: frozenset[Key]) -> Iterator[Placing]:
    """Each list counted anew, what was taken first before the rest."""
    count: dict[str, int] = {}
    for placing in sorted(placings, key=lambda p: (p.session, p.case not in begun, p.place)):
        count[placing.session] = count.get(placing.session, 0) + 1
        yield replace(placing, place=count[placing.session])


def _taken(
    instance: Instance, lists: Lists, disruption: Disruption, now: datetime.datetime | None
) -> Iterator[tuple[str, float]]:
    """Minutes from a session's start until its next case can begin, where the session runs or the time is told.

    Of the begun cases all but the last are done. Where nobody said until when the last one takes, all of its time is
    still to come, from now.
    """
    week, until = Week(instance, lists), {one.key: one.until for one in disruption.begun}
    for session in instance.sessions.values():
        begins = session.span[0]
        gone = _minutes(begins, now) if now is not None and now.date() == session.day else None
        last = next((p for p in reversed(week.list_of(session.id)) if p.case in instance.begun), None)
        ends = until[last.case] if last is not None else None
        if last is not None and (ends is not None or gone is not None):
            if ends is not None:
                end = _minutes(begins, datetime.datetime.combine(session.day, ends))
            else:
                end = max(0.0, gone or 0.0) + week.time(last).mean + week.case(last).added_minutes
            yield session.id, max(0.0, gone or 0.0, end + instance.turnover)
        elif gone is not None and gone > 0:
            yield session.id, gone


def _minutes(start: datetime.datetime, end: datetime.datetime) -> float:
    return (end - start).total_seconds() / 60
