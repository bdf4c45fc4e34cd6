"""Moments by the unit's own clock. What is stored is UTC; what people read is the time on the wall of their unit."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

# None stands for the zone that the machine is set to.
_in_force: ContextVar[datetime.tzinfo | None] = ContextVar("zone", default=None)


@contextmanager
def in_zone(zone: datetime.tzinfo | None) -> Iterator[None]:
    """Every moment told within is told by the clock of that zone; by the machine's where it is None."""
    before = _in_force.set(zone)
    try:
        yield
    finally:
        _in_force.reset(before)


def go_by(zone: datetime.tzinfo | None) -> None:
    """Tell moments by the clock of that zone until what runs now ends, or the `in_zone` that it runs in."""
    _in_force.set(zone)


def local(moment: datetime.datetime | str) -> datetime.datetime:
    """An aware moment, or an ISO text of one, by the clock in force."""
    if isinstance(moment, str):
        moment = datetime.datetime.fromisoformat(moment)
    return moment.astimezone(_in_force.get())


def in_utc(hour: datetime.datetime) -> datetime.datetime:
    """An hour on the unit's wall as a moment in UTC; as it is, without a zone, where no unit's zone is in force.

    The machine's zone would be a guess here: half past eight in theatre stays half past eight.
    """
    zone = _in_force.get()
    return hour if zone is None else hour.replace(tzinfo=zone).astimezone(datetime.UTC)


def wall(moment: datetime.datetime | str) -> str:
    """The same as a plain ISO text to the minute, as a document is told it: `2026-11-02T17:05`."""
    return local(moment).replace(tzinfo=None).isoformat(timespec="minutes")
