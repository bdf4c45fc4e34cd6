"""Numbers as they are printed: two figures at most, ranges in words, dates with the month in letters."""

from __future__ import annotations

import datetime

from planner.assess.assessment import Range
from planner.wording.tier import span
from planner.wording.words import day_words, percent, percentage


def percent_range(least: float, most: float) -> str:
    """Both ends of a probability, once where they print alike: `1.3 to 4.0 %`."""
    low, high = percentage(least), percent(most)
    return high if percent(least) == high else span(low, high)


def number(value: float) -> str:
    """A plain number without needless zeros and with a true minus sign."""
    return f"{value:g}".replace("-", "−")


def dioptres(power: float | None) -> str:
    """A lens power with two decimals: `21.50 D`; `not recorded` when None."""
    return "not recorded" if power is None else f"{power:.2f} D".replace("-", "−")


def change(least: float, most: float) -> str:
    """A change of lens power with its sign, in dioptres: `−0.50 D`, `−1.00 to −0.50 D`, `no change`."""
    if least == most == 0:
        return "no change"
    ends = [f"{value:+.2f}".replace("-", "−") if value else "0.00" for value in (least, most)]
    return f"{ends[0] if ends[0] == ends[1] else span(*ends)} D"


def whole_range(range_: Range) -> str:
    """Least and most of a score, once where they agree: `6 to 9`."""
    return number(range_.least) if range_.settled else span(number(range_.least), number(range_.most))


def moment(at: str) -> str:
    """An ISO time as a date and a 24-hour time: `2 November 2026, 17:05`."""
    time = datetime.datetime.fromisoformat(at)
    return f"{day(time.date())}, {time:%H:%M}"


def day(date: datetime.date | str | None) -> str:
    """A date that cannot be read the other way round: `2 November 2026`; `not recorded` when None."""
    return day_words(date) if date else "not recorded"
