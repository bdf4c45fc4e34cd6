"""Matching without a solver: the most pressing case first, each in the place that is worth most and breaks no rule.

The same input gives the same lists. A case once placed stays, so the result is good, not the best there is: nothing is
claimed about how far it is from that. The checker judges the whole at the end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from planner.lists.blocked import Blocked, why_none
from planner.lists.checker import Verdict, check
from planner.lists.filling import Filling, Shorts
from planner.lists.in_turn import in_turn
from planner.lists.instance import Instance, Key, Lists
from planner.lists.likeness import Alike
from planner.lists.ordering import hardest_in_place
from planner.lists.trials import Option
from planner.lists.worth import of_lists, of_placing

LOSING = (0.5, 1.5, 4.0)  # points; what loses more comes after


@dataclass(frozen=True)
class Reason:
    """Why a case is where it is: what the place adds by each wish; `barred` places worth more broke a rule by then."""

    case: Key
    worth: dict[str, float]
    barred: int
    pressing: str

    @property
    def total(self) -> float:
        return sum(self.worth.values())


@dataclass(frozen=True)
class Matched:
    """Lists with the reason for each case placed and what bars the others; `worth` is the unit's own points.

    Not `explained`, it has neither: an interrupt came while they were worked out.
    """

    lists: Lists
    reasons: dict[Key, Reason]
    blocked: tuple[Blocked, ...]
    verdict: Verdict
    worth: float
    explained: bool = True


def match(instance: Instance, kept: Lists | None = None, done: Callable[[], object] = lambda: None) -> Matched:
    """Place the cases that `kept` does not hold, and say why each is where it is or nowhere. `kept` breaks no rule.

    `done` is called once for each case that has been looked at for the first time.
    """
    reasons: dict[Key, Reason] = {}
    lists = filled(instance, kept, reasons, done)
    dealt = in_turn(instance, lists, kept)
    return matched(instance, dealt, _dealt(instance, lists, dealt, reasons), kept)


def _dealt(instance: Instance, before: Lists, now: Lists, reasons: dict[Key, Reason]) -> dict[Key, Reason]:
    """The reason of each place goes with it to whom it was dealt; what hangs on the case itself is said anew."""
    found: dict[Key, Reason] = {}
    held = {(placing.session, placing.place): placing for placing in before.placings}
    for placing in now.placings:
        was = held[(placing.session, placing.place)]
        if was.case in reasons:
            reason, gone = reasons[was.case], of_placing(instance, was)
            worth = {wish: points for wish, points in reason.worth.items() if wish not in gone}
            worth = of_placing(instance, placing) | worth
            found[placing.case] = replace(
                reason, case=placing.case, worth=worth, pressing=pressing(instance, placing.case)
            )
    return found


def filled(
    instance: Instance,
    kept: Lists | None = None,
    reasons: dict[Key, Reason] | None = None,
    done: Callable[[], object] = lambda: None,
    shorts: Shorts | None = None,
    alike: Alike | None = None,
) -> Lists:
    """The lists alone; the reason for each place goes into `reasons`. `shorts` is as in `Filling`."""
    lists, alike = kept or Lists(()), alike or Alike(instance)
    possible = possibilities(instance, lists, alike)
    waiting = sorted(possible, key=lambda key: _pressing(instance, key, len(possible[key])))
    filling = Filling(instance, alike, lists, shorts)
    for losing in LOSING if shorts else ():
        waiting = [key for key in waiting if filling.place(key, possible[key], losing) is None]
    placed = first_time = True
    while placed:  # A case put before another can give a set time to be ready, so those left over are tried again.
        placed = False
        for key in list(waiting):
            if first_time:
                done()
            found = filling.place(key, possible[key])
            if found is not None:
                placed = True
                waiting.remove(key)
                if reasons is not None:
                    reasons[key] = Reason(key, *found, pressing(instance, key))
        first_time = False
    held = {placing.session for placing in lists.placings}
    return hardest_in_place(instance, filling.lists, (name for name in instance.sessions if name not in held))


def possibilities(instance: Instance, kept: Lists, alike: Alike | None = None) -> dict[Key, list[Option]]:
    """For every case that is not placed already, where it may stand on an otherwise empty list."""
    fixed, alike = {placing.case for placing in kept.placings}, alike or Alike(instance)
    return {key: alike.possible(key, kept) for key in instance.cases if key not in fixed}


def matched(instance: Instance, lists: Lists, reasons: dict[Key, Reason] | None, kept: Lists | None = None) -> Matched:
    """The lists in the order of the sessions, judged, with what bars each case that they do not hold.

    Without `reasons`, nothing is asked of those either.
    """
    order = list(instance.sessions)
    placings = sorted(lists.placings, key=lambda placing: (order.index(placing.session), placing.place))
    lists = Lists(tuple(placings), lists.both_eyes_agreed)
    verdict, worth = check(instance, lists), of_lists(instance, lists)
    if reasons is None:
        return Matched(lists, {}, (), verdict, worth, explained=False)
    placed = {placing.case for placing in placings}
    fixed = frozenset(placing.case for placing in kept.placings) if kept else frozenset()
    blocked = why_none(instance, lists, (key for key in instance.cases if key not in placed), fixed)
    return Matched(lists, reasons, blocked, verdict, worth)


def pressing(instance: Instance, key: Key) -> str:
    """How pressing a case is, in words."""
    return instance.cases[key].waiting.words(instance.planned_on, key in instance.past_their_date)


def _pressing(instance: Instance, key: Key, places: int) -> tuple[object, ...]:
    *turn, last = instance.turn(key)
    return (*turn, places, -instance.cases[key].tier, last)
