"""Why a case is where it is: what its place adds to all others, and how many places worth more a rule bars."""

from __future__ import annotations

from dataclasses import dataclass

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling
from planner.lists.matching.insertion import Assignment
from planner.lists.matching.objective import ranked
from planner.lists.week.instance import Instance, Key, Lists


@dataclass(frozen=True)
class Reason:
    """What the place adds by each wish, all others being where they are; `barred` places worth more break a rule."""

    case: Key
    worth: dict[str, float]
    barred: int
    pressing: str

    @property
    def total(self) -> float:
        return sum(self.worth.values())


def pressing(instance: Instance, key: Key) -> str:
    """How pressing a case is, in words."""
    return instance.cases[key].waiting.words(instance.planned_on, key in instance.past_their_date)


def reasons(alike: Alike, lists: Lists) -> dict[Key, Reason]:
    """For each case that was not kept, what its place adds to the others, and how many worth more a rule bars."""
    instance, full, why = alike.instance, Filling(alike, lists), {}
    for placing in lists.placings:
        if placing.case in alike.kept.placed:
            continue
        key, day = placing.case, instance.sessions[placing.session].day
        others = Lists(tuple(one for one in lists.placings if one.case != key), lists.both_eyes_agreed)
        own = Assignment.of(placing)
        by_worth = ranked(instance, others, key, alike.possible(key))
        points, worth = next((points, worth) for points, option, worth in by_worth if option == own)
        there = Filling(alike, others)  # the case is away only from the lists of its own day
        better = (option for more, option, _ in by_worth if more > points)
        barred = sum(
            (there if instance.sessions[option.session].day == day else full).bars(key, option) for option in better
        )
        why[key] = Reason(key, worth, barred, pressing(instance, key))
    return why
