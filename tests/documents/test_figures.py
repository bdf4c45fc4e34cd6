"""Figures as printed, against `decimal`, which rounds by its own rules."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.assess.assessment import Range
from planner.documents.figures import change, day, dioptres, number, percent_range, whole_range
from planner.wording.words import day_words, percent


@pytest.mark.parametrize(
    ("fraction", "shown"),
    [
        (0.0134, "1.3 %"),
        (0.134, "13 %"),
        (0.00567, "0.57 %"),
        (0.0996, "10 %"),
        (0.00996, "1.0 %"),
        (0.5, "50 %"),
        (0.0, "0 %"),
        (1.0, "100 %"),
        (0.9999, "above 99 %"),
        (0.00005, "below 0.01 %"),
    ],
)
def test_percent(fraction: float, shown: str) -> None:
    assert percent(fraction) == shown


@given(st.floats(min_value=0.0001, max_value=0.9949))
def test_percent_has_two_figures_at_most_and_stays_true(fraction: float) -> None:
    shown = percent(fraction).removesuffix(" %")
    digits = Decimal(shown).as_tuple().digits
    assert len(digits) <= 2
    assert abs(Decimal(shown) / 100 - Decimal(fraction)) <= Decimal(fraction) * Decimal("0.051")


@given(st.floats(min_value=0, max_value=1), st.floats(min_value=0, max_value=1))
def test_a_range_shows_both_its_ends_or_one_that_is_both(one: float, other: float) -> None:
    least, most = sorted((one, other))
    shown = percent_range(least, most)
    if percent(least) == percent(most):
        assert shown == percent(most)
    else:
        assert [part.removesuffix(" %") for part in shown.split(" to ")] == [
            percent(end).removesuffix(" %") for end in (least, most)
        ]


def test_range_of_points_is_one_number_when_settled() -> None:
    assert whole_range(Range(3, 3)) == "3"
    assert whole_range(Range(6, 9)) == "6 to 9"


def test_signs_are_true_minus_signs() -> None:
    assert number(-2.0) == "−2"
    assert dioptres(21.5) == "21.50 D"
    assert change(-1.0, -1.0) == "−1.00 D"
    assert change(-1.0, -0.5) == "−1.00 to −0.50 D"
    assert change(0.0, 0.0) == "no change"


def test_dates_cannot_be_read_the_other_way_round() -> None:
    assert day(datetime.date(2026, 11, 2)) == day("2026-11-02") == "2 November 2026"
    assert day(None) == "not recorded"


def test_a_date_has_one_form_on_paper_and_on_pages() -> None:
    for month in range(1, 13):
        date = datetime.date(2026, month, 2 * month + 3)
        assert day_words(date) == day_words(date.isoformat()) == day(date)
