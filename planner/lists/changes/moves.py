"""Moving by hand: lists with one case put, moved or taken off, everything else in its order. Nothing is judged here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

from planner.lists.matching.insertion import Assignment
from planner.lists.week.instance import Key, Lists, Placing


def taken_off(lists: Lists, key: Key) -> Lists:
    """Without a case; those behind it move up."""
    return replace(lists, placings=counted(placing for placing in lists.placings if placing.case != key))


def put(lists: Lists, key: Key, option: Assignment, place: int | None = None) -> Lists:
    """With a case where the option says, at a place from 1 on, or last; where it stood before it stands no more.

    A case that only changes its people keeps its place unless one is named.
    """
    was = next((placing for placing in lists.placings if placing.case == key), None)
    if place is None and was is not None and was.session == option.session:
        place = was.place
    others = taken_off(lists, key).placings
    at = len(others) + 1 if place is None else place
    shifted = [replace(p, place=p.place + 1) if p.session == option.session and p.place >= at else p for p in others]
    own = option.placing(key, at)
    return replace(lists, placings=counted([*shifted, own]))


def moved(lists: Lists, key: Key, by: int) -> Lists:
    """A case so many places later (earlier below 0) on its list, as far as the list goes."""
    own = next(placing for placing in lists.placings if placing.case == key)
    count = sum(placing.session == own.session for placing in lists.placings)
    place = min(max(1, own.place + by), count)
    return put(lists, key, Assignment(own.session, own.trainee, own.supervisor), place)


def counted(placings: Iterable[Placing]) -> tuple[Placing, ...]:
    """Each list counted from 1 without a gap, its order kept."""
    by_session = groupby(sorted(placings), lambda placing: placing.session)
    return tuple(replace(placing, place=n) for _, of in by_session for n, placing in enumerate(of, 1))
