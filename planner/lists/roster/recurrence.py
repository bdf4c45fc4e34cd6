"""The days of an event that comes again (RFC 5545, RRULE), within bounds; what is not understood is refused."""

from __future__ import annotations

import calendar
import datetime
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
EARLIEST = datetime.timedelta(days=366 * 20)
_BY_DAY = re.compile(r"([+-]?[1-5])?(MO|TU|WE|TH|FR|SA|SU)")
_UNDERSTOOD = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "BYDAY", "BYMONTHDAY", "WKST"}


@dataclass(frozen=True)
class RecurrenceRule:
    """A rule as read. `until` is the last day it may give; `by_day` has (which in the month or 0, weekday from 0)."""

    every: str
    interval: int
    count: int | None
    by_day: tuple[tuple[int, int], ...]
    by_month_day: tuple[int, ...]
    week_starts: int


def rule_of(said: Mapping[str, Sequence[Any]]) -> RecurrenceRule:
    """A rule from its parts. Raises ValueError with what is not understood in it."""
    parts: dict[str, list[Any]] = {
        str(name).upper(): list(value) if isinstance(value, list | tuple) else [value] for name, value in said.items()
    }
    every = str(parts.get("FREQ", [""])[0]).upper()
    if every not in ("DAILY", "WEEKLY", "MONTHLY"):
        raise ValueError(f"it comes again by {every or 'no rule'}; only daily, weekly and monthly rules are read")
    unknown = sorted(set(parts) - _UNDERSTOOD)
    if unknown:
        raise ValueError(f"its rule has {', '.join(unknown)}, which is not read; enter its days one by one")
    by_day = tuple(_by_day(str(value)) for value in parts.get("BYDAY", []))
    if every != "MONTHLY" and (any(which for which, _ in by_day) or "BYMONTHDAY" in parts):
        raise ValueError(f"its rule counts days of a month and is {every.lower()}; enter its days one by one")
    if by_day and "BYMONTHDAY" in parts:
        raise ValueError("its rule has BYDAY and BYMONTHDAY, which together are not read; enter its days one by one")
    count = parts.get("COUNT")
    return RecurrenceRule(
        every, max(1, int(parts.get("INTERVAL", [1])[0])), int(count[0]) if count else None, by_day,
        tuple(int(value) for value in parts.get("BYMONTHDAY", [])),
        WEEKDAYS.index(str(parts.get("WKST", ["MO"])[0]).upper()),
    )  # fmt: skip


def _by_day(text: str) -> tuple[int, int]:
    found = _BY_DAY.fullmatch(text.upper())
    if found is None:
        raise ValueError(f"its rule has the day {text[:20]!r}, which is not read")
    return int(found[1] or 0), WEEKDAYS.index(found[2])


def days_of(rule: RecurrenceRule, first: datetime.date, last: datetime.date) -> Iterator[datetime.date]:
    """The days of a rule from `first`, which is one, to `last`, one too. Raises ValueError if it began too long ago."""
    if last - first > EARLIEST:
        raise ValueError(f"it began on {first}, longer ago than is looked through; enter its days one by one")
    fits = _fits(rule, first)
    given, day = 0, first
    while day <= last and (rule.count is None or given < rule.count):
        if day == first or fits(day):
            given += 1
            yield day
        day += datetime.timedelta(days=1)


def _fits(rule: RecurrenceRule, first: datetime.date) -> Callable[[datetime.date], bool]:
    weekdays = {weekday for _, weekday in rule.by_day}
    if rule.every == "DAILY":
        return lambda day: (day - first).days % rule.interval == 0 and (not weekdays or day.weekday() in weekdays)
    if rule.every == "WEEKLY":
        in_week = weekdays or {first.weekday()}
        start = _week(first, rule.week_starts)
        return lambda day: (
            day.weekday() in in_week and (_week(day, rule.week_starts) - start).days // 7 % rule.interval == 0
        )
    return lambda day: (
        ((day.year - first.year) * 12 + day.month - first.month) % rule.interval == 0 and _in_month(rule, first, day)
    )


def _week(day: datetime.date, starts: int) -> datetime.date:
    return day - datetime.timedelta(days=(day.weekday() - starts) % 7)


def _in_month(rule: RecurrenceRule, first: datetime.date, day: datetime.date) -> bool:
    length = calendar.monthrange(day.year, day.month)[1]
    if rule.by_day:
        forward, backward = (day.day - 1) // 7 + 1, -((length - day.day) // 7 + 1)
        return any(weekday == day.weekday() and which in (0, forward, backward) for which, weekday in rule.by_day)
    wanted = rule.by_month_day or (first.day,)
    return day.day in wanted or day.day - length - 1 in wanted
