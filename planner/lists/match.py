"""Matching without a solver: the most pressing case first, each in the place that is worth most and breaks no rule.

The same input gives the same lists. A case once placed stays, so the result is good, not the best there is: nothing is
claimed about how far it is from that. The checker judges the whole at the end.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

from planner.lists.blocked import Blocked, why_not
from planner.lists.checker import Verdict, check
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.trials import Option, Trial, alone, attempt, options
from planner.lists.week import Week

_URGENCY = ("urgent", "soon", None, "routine")  # not recorded stands before what is said to be the least


@dataclass(frozen=True)
class Reason:
    """Why a case is where it is: what the place is worth by each wish, and how many places there were."""

    case: Key
    worth: dict[str, float]
    places: int
    pressing: str

    @property
    def total(self) -> float:
        return sum(self.worth.values())


@dataclass(frozen=True)
class Matched:
    lists: Lists
    reasons: dict[Key, Reason]
    blocked: tuple[Blocked, ...]
    verdict: Verdict

    @property
    def worth(self) -> float:
        return sum(reason.total for reason in self.reasons.values())


def match(instance: Instance, kept: Lists | None = None, done: Callable[[], object] = lambda: None) -> Matched:
    """Place the cases that `kept` does not hold, and say why each is where it is or nowhere. `kept` breaks no rule.

    `done` is called once for each case that has been looked at for the first time.
    """
    lists = kept or Lists(())
    fixed = {placing.case for placing in lists.placings}
    possible = {
        key: [option for option in options(instance, True) if alone(instance, lists, key, option)]
        for key in instance.cases
        if key not in fixed
    }
    waiting = sorted(possible, key=lambda key: _pressing(instance, key, len(possible[key])))
    reasons: dict[Key, Reason] = {}
    placed = first_time = True
    while placed:  # A case put before another can give a set time to be ready, so those left over are tried again.
        placed = False
        for key in list(waiting):
            if first_time:
                done()
            found = [_tried(instance, lists, key, option) for option in possible[key]]
            fitting = [(trial, worth) for trial, worth in found if not trial.broken]
            if fitting:
                trial, worth = max(fitting, key=lambda pair: sum(pair[1].values()))  # of equals the first
                lists, placed = trial.lists, True
                waiting.remove(key)
                reasons[key] = Reason(key, worth, len(fitting), _words(instance, key))
        first_time = False
    order = list(instance.sessions)
    placings = sorted(lists.placings, key=lambda placing: (order.index(placing.session), placing.place))
    lists = Lists(tuple(placings), lists.both_eyes_agreed)
    blocked = tuple(why_not(instance, lists, key) for key in instance.cases if key in waiting)
    return Matched(lists, reasons, blocked, check(instance, lists))


def _pressing(instance: Instance, key: Key, places: int) -> tuple[object, ...]:
    case = instance.cases[key]
    return (case.last_day or datetime.date.max, _URGENCY.index(case.urgency), places, -case.tier, key)


def _words(instance: Instance, key: Key) -> str:
    case = instance.cases[key]
    return case.why_then or (f"{case.urgency}" if case.urgency else "urgency not recorded")


def _tried(instance: Instance, lists: Lists, key: Key, option: Option) -> tuple[Trial, dict[str, float]]:
    trial = attempt(instance, lists, key, option)
    return trial, worth(instance, lists, trial.placing)


def worth(instance: Instance, lists: Lists, placing: Placing) -> dict[str, float]:
    """What a placing is worth beside lists that stand already, by each wish of the sessions file."""
    wishes, week = instance.wishes, Week(instance, lists)
    asked = week.supervision(placing)
    days = instance.sessions[placing.session].day - min(session.day for session in instance.sessions.values())
    found = {"waiting": -wishes.waiting * days.days}
    if placing.trainee is not None:
        had = [sum(other.trainee == name for other in lists.placings) for name in instance.trainees]
        more = had[list(instance.trainees).index(placing.trainee)] - sum(had) / len(had)
        found["whole_operation" if asked.whole else "named_steps"] = (
            wishes.whole_operation if asked.whole else wishes.named_steps
        )
        found["fair_share"] = -wishes.fair_share * max(0.0, more)
    if asked.by == "trainer" and week.supervisor(placing).grade == "consultant":
        found["closer_than_needed"] = -wishes.closer_than_needed
    return {wish: round(points, 6) for wish, points in found.items() if points}
