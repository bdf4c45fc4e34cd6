"""The days of an event that comes again, held against another implementation of RFC 5545 (dateutil)."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import vRecur

from planner.lists.roster.recurrence import WEEKDAYS, days_of, rule_of

FIRST = st.dates(datetime.date(2026, 1, 1), datetime.date(2026, 12, 31))
DAYS = st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=3, unique=True)
IN_MONTH = st.lists(
    st.sampled_from([f"{n}{day}" for n in (1, 2, 4, 5, -1, -2) for day in WEEKDAYS]), min_size=1, max_size=3
)


@st.composite
def rules(draw: Any) -> str:
    every = draw(st.sampled_from(["DAILY", "WEEKLY", "MONTHLY"]))
    parts = [f"FREQ={every}", f"INTERVAL={draw(st.integers(1, 4))}"]
    if draw(st.booleans()):
        parts.append(f"COUNT={draw(st.integers(1, 40))}")
    kind = draw(st.sampled_from(["", "BYDAY", "BYMONTHDAY"]))
    if kind == "BYDAY":
        parts.append(f"BYDAY={','.join(draw(IN_MONTH if every == 'MONTHLY' and draw(st.booleans()) else DAYS))}")
    elif kind and every == "MONTHLY":
        days = draw(st.lists(st.integers(1, 31) | st.integers(-31, -1), min_size=1, max_size=3))
        parts.append(f"BYMONTHDAY={','.join(map(str, days))}")
    if every == "WEEKLY" and draw(st.booleans()):
        parts.append(f"WKST={draw(st.sampled_from(['MO', 'SU', 'WE']))}")
    return ";".join(parts)


@settings(max_examples=400, deadline=None)
@given(rules(), FIRST)
def test_the_days_are_those_of_another_implementation(text: str, first: datetime.date) -> None:
    start = datetime.datetime.combine(first, datetime.time())
    last = first + datetime.timedelta(days=500)
    theirs = [
        when.date() for when in rrulestr(text, dtstart=start).between(start, start + datetime.timedelta(500), True)
    ]
    if not theirs or theirs[0] != first:
        # The RFC counts the first day whether it fits or not, and leaves the rest undefined; there they differ.
        return
    assert list(days_of(rule_of(vRecur.from_ical(text)), first, last)) == theirs


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("FREQ=SECONDLY", "only daily, weekly and monthly"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "only daily, weekly and monthly"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "BYMONTH, which is not read"),
        ("FREQ=MONTHLY;BYSETPOS=-1;BYDAY=MO,TU", "BYSETPOS, which is not read"),
        ("FREQ=WEEKLY;BYDAY=1MO", "counts days of a month and is weekly"),
        ("FREQ=MONTHLY;BYDAY=MO;BYMONTHDAY=1,2,3", "BYDAY and BYMONTHDAY"),
    ],
)
def test_what_is_not_read_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        rule_of(vRecur.from_ical(text))


def test_one_that_began_long_ago_is_refused() -> None:
    with pytest.raises(ValueError, match="longer ago"):
        list(days_of(rule_of(vRecur.from_ical("FREQ=DAILY")), datetime.date(1970, 1, 1), datetime.date(2026, 1, 1)))
