"""The view of a session's list and brief, made of the lists, the checker's verdict and the plans of its cases."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping

from babel.dates import format_date

from planner.documents.brief.shapes import Brief, ListMinutes, Remark
from planner.documents.brief.view import BriefCase, KitHere, brief_row, drills_in_mind, drugs_held_back, kit_to_pull
from planner.documents.figures import day
from planner.lists.changes.differences import ListChange
from planner.lists.output.lookalikes import clashes
from planner.lists.rules.checker import check
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week
from planner.plan.plan import Plan
from planner.wording.language import locale, say
from planner.wording.words import eye_words


def brief_of(
    instance: Instance,
    lists: Lists,
    session: str,
    plans: Mapping[Key, Plan],
    changed: Iterable[ListChange] = (),
    version: str = "",
) -> Brief:
    """The brief of a session that has a list. `plans` holds one for each of its cases, as approved where it is."""
    week, verdict, on = Week(instance, lists), check(instance, lists), instance.sessions[session]
    kinds = {change.case: change.kind for change in changed if change.now is not None}
    placings = week.list_of(session)
    cases = [
        _case(week, placing, start, plans[placing.case], kinds.get(placing.case, ""))
        for placing, start in zip(placings, week.starts(session), strict=True)
    ]
    first = cases[0].plan if cases else None
    numbers = next((one for one in verdict.sessions if one.session == session), None)
    here = {name: KitHere(kit.sets, kit.ready_again_after) for name, kit in on.kit.items()}
    return Brief(
        theatre=on.theatre,
        anaesthetist=on.anaesthetist,
        unit=(first.unit if first else None) or say("not recorded"),
        day=day(on.day),
        weekday=str(format_date(on.day, "EEEE", locale=locale())),
        hours=f"{on.span[0]:%H:%M}–{on.span[1]:%H:%M}",
        rows=tuple(map(brief_row, cases)),
        minutes=ListMinutes(numbers.expected_minutes, numbers.minutes, numbers.chance_of_overrun) if numbers else None,
        limit=instance.overrun_chance,
        kit=tuple(kit_to_pull(cases, here)),
        in_every_case=tuple(dict.fromkeys(i.label for case in cases for i in case.plan.kit if i.need == "always")),
        drugs=tuple(drugs_held_back(cases)),
        drills=tuple(drills_in_mind(cases)),
        lookalikes=tuple(Remark(one.says, one.do) for one in clashes(instance, lists) if one.session == session),
        broken=_remarks(verdict.broken, session),
        asked=_remarks(verdict.asked, session),
        people=tuple(dict.fromkeys(name for p in placings for name in (p.trainee, p.supervisor) if name)),
        rows_off=tuple(
            eye_words(*change.case) if change.case in instance.cases else " ".join(change.case)
            for change in changed
            if change.was is not None
            and change.was.session == session
            and (change.now is None or change.now.session != session)
        ),
        version=version,
        deferral=first.deferral if first else (),
    )


def _remarks(broken: tuple[Broken, ...], session: str) -> tuple[Remark, ...]:
    return tuple(Remark(one.says, one.change) for one in broken if one.session == session)


def _case(week: Week, placing: Placing, start: float, plan: Plan, changed: str) -> BriefCase:
    case = week.case(placing)
    return BriefCase(
        order=placing.place,
        reference=case.reference,
        eye=case.eye,
        patient=case.patient,
        team=week.team(placing),
        starts=f"{week.session(placing).span[0] + datetime.timedelta(minutes=round(start / 5) * 5):%H:%M}",
        minutes=round(week.with_turnover(placing)),
        anaesthetist=case.anaesthetist is not False,
        alerts=case.alerts,
        changed=changed,
        plan=plan,
    )
