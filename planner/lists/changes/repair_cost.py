"""How small a change is: what is counted first outweighs whatever comes after it."""

from __future__ import annotations

from typing import NamedTuple

from planner.lists.week.instance import Instance, Key, Placing


class RepairCost(NamedTuple):
    """What a change costs, the gravest first; of two changes the one whose first differing count is lower is smaller.

    `pressing_off`: urgent, dated or added cases that lose their place that day; `pressing_lost`: of these, those for
    which no later place is left; `off` and `lost`: the same of all cases. Then cases in another session that day,
    people changed (trainee and supervisor each count), and cases in another order.
    """

    pressing_off: int = 0
    pressing_lost: int = 0
    off: int = 0
    lost: int = 0
    session: int = 0
    people: int = 0
    order: int = 0

    def plus(self, other: RepairCost) -> RepairCost:
        return RepairCost(*(one + more for one, more in zip(self, other, strict=True)))


NOTHING = RepairCost()


def is_pressing(instance: Instance, key: Key, added: bool) -> bool:
    """Whether a case comes off last: urgent, needed by a day, or added that morning."""
    case = instance.cases[key]
    dated = case.last_day is not None and case.urgency != "routine"
    return added or case.urgency == "urgent" or dated or key in instance.past_their_date


def of_moving(was: Placing | None, now: Placing) -> RepairCost:
    """What it costs that a case is here now; one that had no place costs nothing wherever it is."""
    if was is None:
        return NOTHING
    people = (was.trainee != now.trainee) + (was.supervisor != now.supervisor)
    return RepairCost(session=int(was.session != now.session), people=people)
