"""The first side's lists: nothing is lost between what is shown and what is counted as left out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.documents.plan.front import ALL, ROOMS, FrontRoom, first, front, front_that_fits
from planner.documents.plan.view import PlanView
from planner.documents.plan.words import takes
from planner.plan.plan import Plan
from planner.wording.words import lower_first

from .conftest import PlanOf


@given(st.lists(st.text(min_size=1, max_size=200)), st.integers(-5, 20))
def test_shown_and_more_are_the_whole_list(items: list[str], room: int) -> None:
    made, lines = first(items, str, 50, room)
    assert made.shown == tuple(items[: len(made.shown)])
    assert len(made.shown) + made.more == len(items)
    assert bool(made.rest) == bool(made.more)
    # One item is shown whatever the room; beyond that the lines stay inside it.
    assert len(made.shown) >= min(1, len(items))
    assert lines <= room or len(made.shown) <= 1


def test_a_page_without_end_leaves_nothing_out(plan: Plan) -> None:
    made = front(PlanView(plan), ALL)
    assert not made.shortened
    assert made.reasons.shown == PlanView(plan).to_settle
    assert made.looks.shown == PlanView(plan).looks
    assert not made.other_looks


@pytest.mark.parametrize(("room", "told"), [(ROOMS[-2], 1), (ROOMS[-1], 0)])
def test_a_short_front_names_every_sitting_that_would_settle_it(plan_of: PlanOf, room: FrontRoom, told: int) -> None:
    shown = PlanView(plan_of("half-filled"))
    made = front(shown, room)
    assert len(shown.looks) > 1 and made.looks.shown == shown.looks[:told]
    told_after = lower_first(made.other_looks)
    named = [f"{lower_first(look.label)}, {takes(look)}" in told_after for look in shown.looks]
    assert named == [False] * told + [True] * (len(shown.looks) - told)


def test_the_fullest_front_that_fits_is_taken_and_the_barest_when_none_does(plan_of: PlanOf) -> None:
    shown = PlanView(plan_of("half-filled"))
    assert front_that_fits(shown, lambda _: True) == front(shown, ROOMS[0])
    assert front_that_fits(shown, lambda made: len(made.reasons.shown) < 3) != front(shown, ROOMS[0])
    assert front_that_fits(shown, lambda _: False) == front(shown, ROOMS[-1])
