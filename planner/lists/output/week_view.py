"""The view of the weeks at a glance: every session of the roster, with a list or without one, by week and day."""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from itertools import groupby

from planner.documents.figures import day
from planner.documents.week.shapes import (
    CaseAtAGlance,
    CaseWithoutPlace,
    SessionAtAGlance,
    TraineeShare,
    WeeksAtAGlance,
)
from planner.lists.matching.reasons import barring, pressing
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import Verdict, check
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week
from planner.wording.people import in_a_line
from planner.wording.words import side_of


def weeks_view(instance: Instance, lists: Lists) -> WeeksAtAGlance:
    """The weeks of the roster, the cases that wait, the most pressing first, and what each trainee has."""
    week, rows = Week(instance, lists), defaultdict[datetime.date, list[SessionAtAGlance]](list)
    verdict = check(instance, lists)
    for session in sorted(instance.sessions.values(), key=lambda one: (one.span[0], one.theatre)):
        rows[session.day].append(_session(week, verdict, session))
    weeks = {
        f"Week of {day(monday)}": {f"{on:%A} {day(on)}": rows[on] for on in days}
        for monday, days in groupby(rows, _monday)
    }
    placed = lists.placed
    waiting = sorted((key for key in instance.cases if key not in placed), key=instance.turn)
    bars = barring(instance, lists, waiting)
    return WeeksAtAGlance(
        weeks,
        tuple(_waiting(instance, key, rules) for key, rules in bars.items()),
        tuple(_share(week, name) for name in instance.trainees),
        len(placed),
    )


def _monday(on: datetime.date) -> datetime.date:
    return on - datetime.timedelta(on.weekday())


def _session(week: Week, verdict: Verdict, session: Session) -> SessionAtAGlance:
    return SessionAtAGlance(
        session.id,
        session.theatre,
        f"{session.span[0]:%H:%M}–{session.span[1]:%H:%M}",
        tuple(session.supervisors),
        session.anaesthetist,
        round(week.expected_minutes(session.id)),
        session.minutes,
        week.chance_of_overrun(session.id),
        tuple(_case(week, placing) for placing in week.list_of(session.id)),
        tuple(one.says for one in verdict.broken if one.session == session.id),
        tuple(one.says for one in verdict.breaches if one.session == session.id),
        Counter(one.session for one in verdict.asked)[session.id],
    )


def _case(week: Week, placing: Placing) -> CaseAtAGlance:
    case = week.case(placing)
    return CaseAtAGlance(placing.place, side_of(case.eye), case.reference, case.tier, in_a_line(week.team(placing)))


def _waiting(instance: Instance, key: Key, rules: tuple[str, ...]) -> CaseWithoutPlace:
    case, barred = instance.cases[key], tuple(RULES[rule].words for rule in rules)
    return CaseWithoutPlace(side_of(case.eye), case.reference, case.tier, pressing(instance, key), barred)


def _share(week: Week, name: str) -> TraineeShare:
    own = [placing for placing in week.lists.placings if placing.trainee == name]
    whole = sum(week.supervision(placing).whole for placing in own)
    return TraineeShare(name, week.instance.trainees[name].stage, whole, len(own) - whole)
