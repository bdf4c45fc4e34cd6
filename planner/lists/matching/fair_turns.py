"""Places given to cases in their turn: of cases that no rule tells apart, the more pressing has the earlier place."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from planner.lists.matching.equivalence import Alike
from planner.lists.week.instance import Instance, Key, Lists, Placing


def in_turn(alike: Alike, lists: Lists) -> Lists:
    """The same places, dealt anew among cases of a kind; no other rule, and no lesser worth, comes of it.

    What was kept, published or begun stays where it is, and nobody comes later than they are needed.
    """
    instance = alike.instance
    fixed = {*instance.as_published, *instance.begun, *alike.kept.placed}
    kinds: dict[int, list[Key]] = defaultdict(list)
    for key in sorted(instance.cases, key=instance.turn):
        if key not in fixed:
            kinds[alike.kind(key)].append(key)
    at = {placing.case: placing for placing in lists.placings}
    for keys in kinds.values():
        _deal(alike, keys, at)
    return replace(lists, placings=tuple(at.values()))


def _deal(alike: Alike, keys: list[Key], at: dict[Key, Placing]) -> None:
    """Exchange places until nobody can have an earlier one from somebody less pressing. `keys` are in their turn."""
    for n, key in enumerate(keys):
        for other in keys[n + 1 :]:
            own, theirs = at.get(key), at.get(other)
            if theirs is None or (own is not None and not _earlier(alike.instance, theirs, own)):
                continue
            if not _in_time(alike, key, theirs) or (own and not _in_time(alike, other, own)):
                continue
            at[key] = replace(theirs, case=key)
            if own is None:
                del at[other]
            else:
                at[other] = replace(own, case=other)


def _earlier(instance: Instance, one: Placing, other: Placing) -> bool:
    """Whether one comes before the other on its list, or on an earlier one."""
    if one.session == other.session:
        return one.place < other.place
    return instance.sessions[one.session].span[0] < instance.sessions[other.session].span[0]


def _in_time(alike: Alike, key: Key, placing: Placing) -> bool:
    last = alike.deadline(key)
    return last is None or alike.instance.sessions[placing.session].day <= last
