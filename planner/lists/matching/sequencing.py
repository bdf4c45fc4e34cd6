"""The order of a list: what has a fixed place keeps it, then the unit's wish for the hardest, then what presses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import permutations

from planner.lists.matching.insertion import usual_rank
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.week import Week

LONGEST_ORDERED = 8  # cases of a session whose every order is tried


def ordered(instance: Instance, lists: Lists, here: Iterable[Placing]) -> tuple[Placing, ...]:
    """One session's cases in the first order that breaks no rule of order; empty where none was found."""
    for order in _orders(instance, here):
        tried = tuple(Placing(p.session, place, p.case, p.trainee, p.supervisor) for place, p in enumerate(order, 1))
        if RULES.stands(Week(instance, replace(lists, placings=tried)), RULES.of_order):
            return tried
    return ()


def hardest_in_place(instance: Instance, lists: Lists, sessions: Iterable[str]) -> Lists:
    """These sessions' cases in the order the unit wishes for the hardest, where one keeps every rule."""
    if instance.wishes.hardest is None:
        return lists
    for session in sessions:
        here = sorted(p for p in lists.placings if p.session == session)
        if in_order := ordered(instance, lists, here):
            others = (p for p in lists.placings if p.session != session)
            lists = replace(lists, placings=(*others, *in_order))
    return lists


def _orders(instance: Instance, here: Iterable[Placing]) -> Iterator[tuple[Placing, ...]]:
    """Orders to try: the usual one first, then every other, those that move the last cases only before the rest."""
    hardest = {"first": -1, "last": 1, None: 0}[instance.wishes.hardest]

    def usual(placing: Placing) -> tuple[object, ...]:
        key, tier = placing.case, instance.cases[placing.case].tier
        return (*usual_rank(instance, key), hardest * tier, *instance.turn(key)[:-1], -tier, key)

    begun = sorted(here, key=usual)
    yield tuple(begun)
    if len(begun) <= LONGEST_ORDERED:
        yield from permutations(begun)
