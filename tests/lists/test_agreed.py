"""Both eyes on one day, agreed with the patient and entered in the roster: every list over it knows."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest
from lists.small_weeks import eye, key, session, week

from planner.lists.matching.best import best
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import match
from planner.lists.matching.placement_bound import most_more
from planner.lists.roster.shapes import Patient, read_roster
from planner.lists.rules.checker import check
from planner.lists.week.gather import instance_of
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.lists_file import lists_in, written
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
TWO_EYES = [eye("A", patient="P"), eye("B", patient="P")]
ONE_DAY = [session("one")]
BY_HAND = """\
lists:
  - session: one
    cases:
      - {case: A, eye: right, trainee: late, supervisor: trainer}
      - {case: B, eye: right, trainee: late, supervisor: trainer}
"""


def agreed(*patients: str) -> Instance:
    return replace(week(TWO_EYES, ONE_DAY), both_eyes_agreed=frozenset(patients))


def test_lists_made_over_it_place_both() -> None:
    for way in (match, lambda instance: best(instance, effort=2)):
        assert {p.case for p in way(agreed("P")).lists.placings} == {key("A"), key("B")}
        assert len(way(agreed()).lists.placings) == len(way(agreed("Q")).lists.placings) == 1
        found = way(agreed("P"))
        assert found.verdict.stands and check(agreed("P"), found.lists).stands
    more = most_more(Alike(agreed("P")), agreed("P").empty)
    assert more is not None and more.at_all == 2


def test_lists_read_over_it_may_have_both() -> None:
    read = lists_in(BY_HAND, "by hand", agreed("P"))
    assert check(agreed("P"), read).stands
    (broken,) = check(agreed(), lists_in(BY_HAND, "by hand", agreed())).broken
    assert broken.rule == "one-eye-a-day"
    assert "`both_eyes_agreed: yes` for P under the roster's patients" in broken.change
    both = lists_in(f"both_eyes_agreed: [Q]\n{BY_HAND}", "by hand", agreed("P"))
    assert both.both_eyes_agreed == {"P", "Q"}
    assert lists_in(written(both), "again", agreed()) == both


@pytest.mark.parametrize(("said", "known"), [(True, {"P"}), (False, set()), (None, set())])
def test_what_the_roster_says_of_patients(said: bool | None, known: set[str], rulebook: Rulebook) -> None:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    roster = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook)
    roster = roster.model_copy(update={"patients": [Patient(id="P", both_eyes_agreed=said), Patient(id="Q")]})
    instance = instance_of([], rulebook, unit, roster, datetime.date(2026, 12, 1))
    assert instance.both_eyes_agreed == known and instance.empty == Lists((), frozenset(known))
