"""Every way there is, tried one by one through the checker alone; for small weeks only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing


def everywhere(instance: Instance, lists: Lists, key: Key) -> Iterator[tuple[Lists, Placing]]:
    """The case put into every place of every list, with every trainee or none and every supervisor."""
    for session in instance.sessions:
        length = sum(placing.session == session for placing in lists.placings)
        for place in range(1, length + 2):
            moved = tuple(
                replace(p, place=p.place + 1) if p.session == session and p.place >= place else p
                for p in lists.placings
            )
            for trainee in (*instance.trainees, None):
                for supervisor in instance.supervisors:
                    placing = Placing(session, place, key, trainee, supervisor)
                    yield replace(lists, placings=(*moved, placing)), placing


def barred_by(instance: Instance, lists: Lists, key: Key) -> set[frozenset[str]]:
    """For every place, the rules that bar it."""
    return {
        frozenset(broken.rule for broken in check(instance, there).broken)
        for there, _ in everywhere(instance, lists, key)
    }


def blocks(rules: frozenset[str], barred: set[frozenset[str]]) -> bool:
    """Whether these rules alone leave no place."""
    return all(rules & each for each in barred)


def smallest(barred: set[frozenset[str]]) -> int:
    """How many rules the smallest set that blocks has."""
    return next(
        size
        for size in range(len(RULES.ids) + 1)
        for chosen in combinations(RULES.ids, size)
        if blocks(frozenset(chosen), barred)
    )


def most_placed(instance: Instance) -> int:
    """How many cases the fullest lists hold that keep every rule."""

    return max(len(lists.placings) for lists in every_list(instance))


def every_list(instance: Instance, lists: Lists | None = None, left: tuple[Key, ...] | None = None) -> Iterator[Lists]:
    """All lists that keep every rule, each case placed or left out."""
    lists = lists or Lists(())
    left = tuple(instance.cases) if left is None else left
    if not left:
        if check(instance, lists).stands:
            yield lists
        return
    yield from every_list(instance, lists, left[1:])
    for there, _ in everywhere(instance, lists, left[0]):
        # What hangs on the order alone may come right once another case lies between.
        if {broken.rule for broken in check(instance, there).broken} <= {"kit-sets", "begun-first", "fixed-order"}:
            yield from every_list(instance, there, left[1:])
