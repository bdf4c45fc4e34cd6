"""What the placed cases of the coming weeks need: each lens and item of kit, and the last day to order it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from planner.lists.output.verdict_text import hung
from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance, ListCase, Lists, Placing
from planner.lists.week.week import Week
from planner.records.export import csv_text
from planner.wording.words import day_words

COLUMNS = ("order_by", "day", "session", "theatre", "what", "item", "count", "cases", "to_ask", "too_late")
LENS, BACKUP, KIT = "lens", "backup lens", "kit"
ASK = "not recorded: ask"
LeadDays = Mapping[Literal["lens", "kit"], int]


@dataclass(frozen=True)
class SupplyOrder:
    """One lens, or one item of kit for some cases of a session.

    `order_by` is the last day on which it can be ordered, None where the unit gave no lead time; `too_late` says that
    this day is over on the day of planning, where that is known. `to_ask`: something of it is not recorded.
    """

    order_by: datetime.date | None
    session: Session
    what: str
    item: str
    cases: tuple[str, ...]
    too_late: bool

    @property
    def to_ask(self) -> bool:
        return ASK in self.item


def orders(instance: Instance, lists: Lists, lead_days: LeadDays) -> tuple[SupplyOrder, ...]:
    """For the sessions from the day of planning on: what must be ordered first stands first. Lead times in days."""
    week, found = Week(instance, lists), []
    for session in week.sessions:
        if session.day < instance.planned_on:
            continue
        for what, item, cases in _needs(week, week.list_of(session.id)):
            lead = lead_days.get("kit" if what == KIT else "lens")
            by = None if lead is None else session.day - datetime.timedelta(lead)
            late = by is not None and instance.on is not None and by < instance.on
            found.append(SupplyOrder(by, session, what, item, cases, late))
    return tuple(sorted(found, key=lambda one: (one.order_by or one.session.day, one.session.span[0])))


def orders_table(found: tuple[SupplyOrder, ...]) -> str:
    """The orders as CSV (RFC 4180)."""
    rows = [
        (
            one.order_by or "", one.session.day, one.session.id, one.session.theatre, one.what, one.item,
            len(one.cases), "; ".join(one.cases), "yes" if one.to_ask else "no", "yes" if one.too_late else "no",
        )
        for one in found
    ]  # fmt: skip
    return csv_text(COLUMNS, rows, "\r\n")


def orders_text(instance: Instance, found: tuple[SupplyOrder, ...], lead: LeadDays) -> Iterator[str]:
    """The orders by the last day for them, as text for a terminal."""
    without = [what for what in ("lens", "kit") if what not in lead]
    yield f"Orders for the lists from {day_words(instance.planned_on)} on"
    if without:
        missing = " and ".join(without)
        yield from hung(f"No lead time for {missing} in the sessions file (limits, lead_days): no last day to order.")
    for by, due in groupby(found, lambda one: (one.order_by, one.too_late)):
        late = " (too late to order: look on the shelf)" if by[1] else ""
        yield from (
            "",
            f"Order by {by[0]:%a} {day_words(by[0])}{late}" if by[0] else "Needed, in the order of the lists",
        )
        for one in due:
            count = f"{len(one.cases)} cases: " if len(one.cases) > 1 else ""
            cases = f"({count}{'; '.join(one.cases)})"
            when = f"{one.session.day:%a} {day_words(one.session.day)} {one.session.id:<9}"
            yield from hung(f"  {when} {one.what}: {one.item} {cases}")


def _needs(week: Week, placings: tuple[Placing, ...]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    kit: dict[str, list[str]] = {}
    for placing in placings:
        case = week.case(placing)
        yield LENS, _lens(case.lens_power, case), (case.in_words,)
        yield BACKUP, _power(case.backup_power), (case.in_words,)
        for label in case.kit.values():
            kit.setdefault(label, []).append(case.in_words)
    for label, cases in kit.items():
        yield KIT, label, tuple(cases)


def _lens(power: float | None, case: ListCase) -> str:
    return f"{_power(power)}, {case.lens_material or f'material {ASK}'}"


def _power(power: float | None) -> str:
    return f"power {ASK}" if power is None else f"{power:.2f} D"
