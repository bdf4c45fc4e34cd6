"""What lists are worth by the unit's wishes. Rules come first: a wish never buys a broken one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.trials import Option
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
    was = instance.as_published.get(placing.case)
    if was is not None and was.session == placing.session:
        same = (was.trainee, was.supervisor) == (placing.trainee, placing.supervisor)
        found["few_changes"] = wishes.few_changes if same else wishes.few_changes / 2
    return {wish: points for wish, points in found.items() if points}


def of_shares(instance: Instance, lists: Lists) -> float:
    """What uneven shares take away: the wish's weight for each case of a trainee beyond the mean of all trainees."""
    had = Counter(placing.trainee for placing in lists.placings)
    return uneven(instance, [had[name] for name in instance.trainees])


def shares_with_one_more(instance: Instance, lists: Lists) -> dict[str | None, float]:
    """For each trainee, and for none, what one case more of theirs adds to `of_shares`."""
    had = Counter(placing.trainee for placing in lists.placings)
    counts = [had[name] for name in instance.trainees]
    now = uneven(instance, counts)
    added: dict[str | None, float] = {None: 0.0}
    for n, name in enumerate(instance.trainees):
        added[name] = round(uneven(instance, [*counts[:n], counts[n] + 1, *counts[n + 1 :]]) - now, 6)
    return added


def uneven(instance: Instance, counts: list[int]) -> float:
    mean = sum(counts) / len(counts) if counts else 0
    return -instance.wishes.fair_share * sum(max(0.0, count - mean) for count in counts)


def of_lists(instance: Instance, lists: Lists) -> float:
    """What lists are worth altogether."""
    placed = sum(sum(of_placing(instance, placing).values()) for placing in lists.placings)
    return placed + of_shares(instance, lists)


def ranked(
    instance: Instance, others: Lists, key: Key, options: Iterable[Option]
) -> list[tuple[float, Option, dict[str, float]]]:
    """Options of a case by what each adds to other lists, in all and by wish, most first and equals as they come."""
    shares, found = shares_with_one_more(instance, others), []
    for option in options:
        worth = of_placing(instance, Placing(option.session, 1, key, option.trainee, option.supervisor))
        if shares[option.trainee]:
            worth["fair_share"] = shares[option.trainee]
        found.append((round(sum(worth.values()), 6), option, worth))
    return sorted(found, key=lambda each: -each[0])
