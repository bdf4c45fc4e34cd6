"""Who could have a place that falls free, as text for a terminal and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from planner.lists.changes.standby import Standby, StandbyList
from planner.lists.output.match_text import who
from planner.lists.output.verdict_text import hung
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance
from planner.lists.week.week import Week


def standby_data(found: StandbyList) -> dict[str, object]:
    def of(one: Standby) -> dict[str, object]:
        return {
            "case": one.case[0], "eye": one.case[1], "place": one.placing.place, "trainee": one.placing.trainee,
            "supervisor": one.placing.supervisor, "pressing": one.pressing, "asked": one.asked,
        }  # fmt: skip

    return {
        "session": found.session.id,
        "ready": [of(one) for one in found.ready],
        "to_ask": [of(one) for one in found.to_ask],
        "barred": [{"case": told, "rules": rules} for told, rules in found.barred],
    }


def standby_text(instance: Instance, found: StandbyList, off: Sequence[str]) -> Iterator[str]:
    """Who could come, in order, who would fit once asked, and who cannot; `off` are the cases that do not come."""
    yield f"Standby for {found.session.in_words}" + (f", without {', '.join(off)}" if off else "")
    for title, every in (
        ("Can come at short notice, in this order", found.ready),
        ("Would fit; nobody has asked whether they can come at short notice", found.to_ask),
    ):
        yield from ("", title)
        if not every:
            yield "  nobody"
        for number, one in enumerate(every, 1):
            case = instance.cases[one.case]
            yield f"  {number:>2}  {one.in_words:<18} tier {case.tier}  {who(Week(instance, one.lists), one.placing)}"
            yield from hung(f"      {one.pressing}")
            for asked in one.asked:
                yield from hung(f"      ask: {asked}")
    if found.barred:
        yield from ("", "Can come, and cannot have the place")
        for told, rules in found.barred:
            yield from hung(f"  {told}: not kept: {'; '.join(RULES[rule].words for rule in rules)}")
