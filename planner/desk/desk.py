"""One desk: the store with what it is read by, which every page, paper and command goes through."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

from planner.desk.plans import PlanCache
from planner.lists.week.from_records import FromRecords
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit


@dataclass(frozen=True)
class Desk:
    """`lists` reads them by the roster in force, None where there is none; asked only where it is needed, since that
    looks into the store. `day_here` is the day by the unit's clock."""

    store: Store
    rulebook: Rulebook
    unit: Unit | None
    judge: PlanCache
    lists: Callable[[], FromRecords | None]
    day_here: Callable[[], datetime.date]
