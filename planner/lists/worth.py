"""What lists are worth by the unit's wishes. Rules come first: a wish never buys a broken one."""

from __future__ import annotations

from collections import Counter

from planner.lists.instance import Instance, Lists, Placing
from planner.lists.week import Week


def of_placing(instance: Instance, placing: Placing) -> dict[str, float]:
    """What a placing is worth whatever else stands on the lists, in the points of each wish it touches."""
    wishes, week = instance.wishes, Week(instance, Lists(()))
    asked = week.supervision(placing)
    days = instance.sessions[placing.session].day - min(session.day for session in instance.sessions.values())
    found = {"placed": wishes.placed, "waiting": -wishes.waiting * days.days}
    if placing.trainee is not None and asked.whole:
        found["whole_operation"] = wishes.whole_operation
    elif placing.trainee is not None:
        found["named_steps"] = wishes.named_steps
    if asked.by == "trainer" and week.supervisor(placing).grade == "consultant":
        found["closer_than_needed"] = -wishes.closer_than_needed
    return {wish: points for wish, points in found.items() if points}


def of_shares(instance: Instance, lists: Lists) -> float:
    """What uneven shares take away: the wish's weight for each case of a trainee beyond the mean of all trainees."""
    had = Counter(placing.trainee for placing in lists.placings)
    counts = [had[name] for name in instance.trainees]
    mean = sum(counts) / len(counts) if counts else 0
    return -instance.wishes.fair_share * sum(max(0.0, count - mean) for count in counts)


def of_lists(instance: Instance, lists: Lists) -> float:
    """What lists are worth altogether."""
    placed = sum(sum(of_placing(instance, placing).values()) for placing in lists.placings)
    return placed + of_shares(instance, lists)


def beside(instance: Instance, others: Lists, placing: Placing) -> dict[str, float]:
    """What a placing adds to other lists, by each wish."""
    added = of_shares(instance, Lists((*others.placings, placing))) - of_shares(instance, others)
    return of_placing(instance, placing) | ({"fair_share": round(added, 6)} if round(added, 6) else {})
