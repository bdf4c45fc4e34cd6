"""The order of a list: what has a fixed place keeps it, then the unit's wish for the hardest, then what presses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import permutations

from planner.lists.matching.insertion import Assignment, usual_rank
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

LONGEST_ORDERED = 8  # cases of a session whose every order is tried


def ordered(instance: Instance, lists: Lists, session: str, here: list[tuple[Key, Assignment]]) -> tuple[Placing, ...]:
    """One session's cases in the first order that breaks no rule of order; empty where none was found."""
    for order in _orders(instance, here):
        tried = tuple(
            Placing(session, place, key, option.trainee, option.supervisor)
            for place, (key, option) in enumerate(order, 1)
        )
        if RULES.stands(Week(instance, replace(lists, placings=tried)), RULES.of_order):
            return tried
    return ()


def hardest_in_place(instance: Instance, lists: Lists, sessions: Iterable[str]) -> Lists:
    """These sessions' cases in the order the unit wishes for the hardest, where one keeps every rule."""
    if instance.wishes.hardest is None:
        return lists
    placings = list(lists.placings)
    for session in sessions:
        here = [p for p in placings if p.session == session]
        placed = [(p.case, Assignment.of(p)) for p in sorted(here)]
        if in_order := ordered(instance, lists, session, placed):
            placings = [*(p for p in placings if p.session != session), *in_order]
    return replace(lists, placings=tuple(placings))


def _orders(instance: Instance, here: list[tuple[Key, Assignment]]) -> Iterator[tuple[tuple[Key, Assignment], ...]]:
    """Orders to try: the usual one first, then every other, those that move the last cases only before the rest."""
    hardest = {"first": -1, "last": 1, None: 0}[instance.wishes.hardest]

    def usual(placed: tuple[Key, Assignment]) -> tuple[object, ...]:
        case = instance.cases[placed[0]]
        turn = instance.turn(placed[0])
        return (*usual_rank(instance, placed[0]), hardest * case.tier, *turn[:-1], -case.tier, placed[0])

    begun = sorted(here, key=usual)
    yield tuple(begun)
    if len(here) <= LONGEST_ORDERED:
        yield from permutations(begun)
