"""What looks alike on a list is shown: each kind on a week built by hand, and nothing where nothing is alike."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lists.small_weeks import eye, week

from planner.lists.output.lookalikes import clashes, similar
from planner.lists.week.instance import ListCase, Placing
from planner.lists.week.instance import Lists as Placed


def clashing(*cases: ListCase, session: str = "one") -> list[tuple[str, tuple[str, ...]]]:
    placings = tuple(Placing(session, n, case.key, None, "consultant") for n, case in enumerate(cases, 1))
    return [(clash.kind, clash.cases) for clash in clashes(week([*cases]), Placed(placings))]


def lens(reference: str, power: float | None, side: str = "right", material: str | None = "silicone") -> ListCase:
    return eye(reference, eye=side, lens_power=power, lens_material=material)


def test_nothing_is_shown_where_nothing_is_alike() -> None:
    assert clashing(lens("A-1", 18), lens("B-22", 21.5), lens("C-333", 24)) == []
    assert clashing(lens("A-1", None)) == []


def test_neighbours_with_near_powers() -> None:
    assert clashing(lens("A-1", 21), lens("B-22", 22)) == [("near-lens", ("A-1, right eye", "B-22, right eye"))]
    assert clashing(lens("A-1", 21), lens("B-22", 22.5)) == []
    # Not neighbours: another lens is fetched in between.
    assert clashing(lens("A-1", 21), lens("B-22", 25), lens("C-333", 21)) == []
    assert clashing(lens("A-1", 21), lens("B-22", 21, material="hydrophobic acrylic")) == []
    # A material that nobody recorded may be the same one.
    assert [kind for kind, _ in clashing(lens("A-1", 21), lens("B-22", 21, material=None))] == ["near-lens"]


def test_a_power_not_recorded_is_said_and_never_taken_for_another() -> None:
    assert clashing(lens("A-1", None), lens("B-22", 21)) == [("lens-not-recorded", ("A-1, right eye",))]


def test_the_side_that_changes_is_one_note_for_the_list() -> None:
    cases = lens("A-1", 10), lens("B-22", 15, "left"), lens("C-333", 20, "left"), lens("D-4444", 25)
    placings = tuple(Placing("one", n, case.key, None, "consultant") for n, case in enumerate(cases, 1))
    (found,) = clashes(week([*cases]), Placed(placings))
    assert found.kind == "side-changes" and found.cases == ("B-22, left eye", "D-4444, right eye")
    assert "numbers 2 and 4" in found.says and "1 right, 2 left, 3 left, 4 right" in found.says


def test_references_that_look_alike() -> None:
    assert clashing(lens("A-104", 10), lens("A-140", 20)) == [("similar-references", ("A-104", "A-140"))]


def test_both_eyes_of_a_patient_on_one_day_in_two_theatres() -> None:
    one = eye("A-1", patient="P-1", lens_power=10.0)
    other = replace(eye("B-22", patient="P-1", lens_power=20.0), eye="left")
    placed = Placed((Placing("one", 1, one.key, None, "consultant"), Placing("two", 1, other.key, None, "trainer")))
    (found,) = clashes(week([one, other]), placed)
    assert found.kind == "both-eyes" and "1 December 2026" in found.says


def distance(one: str, other: str) -> int:
    """Edits with neighbours changing places as one (optimal string alignment), the textbook table."""
    rows = [[i + j if not i * j else 0 for j in range(len(other) + 1)] for i in range(len(one) + 1)]
    for i in range(1, len(one) + 1):
        for j in range(1, len(other) + 1):
            cost = one[i - 1] != other[j - 1]
            rows[i][j] = min(rows[i - 1][j] + 1, rows[i][j - 1] + 1, rows[i - 1][j - 1] + cost)
            if i > 1 and j > 1 and one[i - 1] == other[j - 2] and one[i - 2] == other[j - 1]:
                rows[i][j] = min(rows[i][j], rows[i - 2][j - 2] + 1)
    return rows[-1][-1]


@given(st.text("AB1", max_size=6), st.text("AB1", max_size=6))
def test_alike_is_one_edit_apart(one: str, other: str) -> None:
    assert similar(one, other) is (distance(one, other) == 1)


@pytest.mark.parametrize("count", [0, 1])
def test_a_list_too_short_to_clash(count: int) -> None:
    assert clashing(*[lens("A-1", 21)][:count]) == []
