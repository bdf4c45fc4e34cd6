"""A second opinion on eyes, fixed places and begun cases: worked out from days and hours, without the rules."""

from __future__ import annotations

import datetime

from planner.lists.week.instance import Instance, Lists

JUDGED = {"begun-first", "fixed-order", "patient-in-one-theatre", "one-eye-a-day", "between-eyes", "first-eye-reviewed"}
DAY = datetime.timedelta(days=1)


def broken_by(instance: Instance, lists: Lists) -> set[str]:
    """Which of the rules of `JUDGED` these lists break."""
    found: set[str] = set()
    for one in lists.placings:
        case, here = instance.cases[one.case], instance.sessions[one.session]
        fellow = case.fellow
        if fellow is not None:
            reviewed = case.reviewed_on is not None and case.reviewed_on <= here.day
            if fellow.day is not None and case.reviewed_on is not None and case.reviewed_on <= fellow.day:
                reviewed = False
            if fellow.review_due and not reviewed and (fellow.day is None or fellow.day < here.day):
                found.add("first-eye-reviewed")
            if fellow.day == here.day and case.patient not in lists.both_eyes_agreed:
                found.add("one-eye-a-day")
            for n in range(1, instance.days_between_eyes):
                if fellow.day in (here.day - n * DAY, here.day + n * DAY):
                    found.add("between-eyes")
        for other in lists.placings:
            if other.case == one.case:
                continue
            second, there = instance.cases[other.case], instance.sessions[other.session]
            if case.patient is not None and case.patient == second.patient:
                minutes = {here.span[0] + datetime.timedelta(minutes=m) for m in range(here.minutes)}
                if here.id != there.id and any(there.span[0] <= minute < there.span[1] for minute in minutes):
                    found.add("patient-in-one-theatre")
                if here.day == there.day and case.patient not in lists.both_eyes_agreed:
                    found.add("one-eye-a-day")
                if any(there.day == here.day + n * DAY for n in range(1, instance.days_between_eyes)):
                    found.add("between-eyes")
            before = one.session == other.session and one.place < other.place
            if before and other.case in instance.begun and one.case not in instance.begun:
                found.add("begun-first")
            same_room = here.day == there.day and here.theatre.lower().split() == there.theatre.lower().split()
            if same_room and (here.starts, one.place) < (there.starts, other.place):
                first, then = case.order, second.order
                if then["latex-first"] and not first["latex-first"]:
                    found.add("fixed-order")
                if then["latex-first"] is None and first["latex-first"] is False:
                    found.add("fixed-order")
                if first["infection-last"] and not then["infection-last"]:
                    found.add("fixed-order")
    return found
