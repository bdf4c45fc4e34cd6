"""Cases: nothing is overwritten, a change ends what rested on it, and nobody's change silently wins."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_unit import DAY, approved, document, plan, prepared, seen

from planner.errors import PlannerError
from planner.records.changes import Conflict, ThreeWayDifference
from planner.records.deciding import DecidedMeanwhile
from planner.records.rows import CaseVersion, Seen
from planner.records.store import Store


def shared(store: Store) -> CaseVersion:
    """A case of trainee-3, handed to trainee-5."""
    version = store.new_case(document(), "trainee-3")
    store.hand_over(version.case_id, "trainee-3", "trainee-5", "trainee-3")
    return version


def test_every_save_is_a_version(store: Store) -> None:
    first = shared(store)
    second = store.save_case(first.case_id, 1, {"iop_mmhg": 24, "iop_date": None, "planned_stage": "late"}, "trainee-5")
    assert (second.number, second.by) == (2, "trainee-5")
    assert set(second.changed) == {"iop_mmhg", "iop_date", "planned_stage"}
    assert second.findings == {"age_years": 71, "iop_mmhg": 24}
    assert store.versions(first.case_id) == (first, second)
    assert store.version(first.case_id).document["planned_stage"] == "late"
    assert store.version(first.case_id, 1).document == document()


def test_not_recorded_in_words_is_kept_and_is_not_the_same_as_left_out(store: Store) -> None:
    first = store.new_case(document(phacodonesis="not-recorded"), "trainee-3")
    assert first.findings["phacodonesis"] == "not-recorded"
    second = store.save_case(first.case_id, 1, {"phacodonesis": None}, "trainee-3")
    assert "phacodonesis" not in second.findings


def test_what_changes_nothing_makes_no_version(store: Store) -> None:
    first = shared(store)
    assert store.save_case(first.case_id, 1, {"iop_mmhg": 15, "inr": None}, "trainee-5") == first


def test_ones_own_save_sent_again_with_more_is_no_conflict(store: Store) -> None:
    """As from a browser whose answer was lost: it still counts from version 1, and holds what version 2 changed."""
    case = shared(store).case_id
    store.save_case(case, 1, {"iop_mmhg": 18}, "trainee-3")
    third = store.save_case(case, 1, {"iop_mmhg": 18, "dilated_pupil_mm": 4}, "trainee-3")
    assert (third.number, third.changed) == (3, ("dilated_pupil_mm",))
    assert store.version(case).findings == {
        "age_years": 71,
        "iop_mmhg": 18,
        "iop_date": "2026-11-10",
        "dilated_pupil_mm": 4,
    }
    # Another value than one saved before, or somebody else's save among them, is a difference to look at.
    for by, changes in (
        ("trainee-3", {"iop_mmhg": 19, "dilated_pupil_mm": 4}),
        ("trainee-3", {"axial_length_mm": 23}),
        ("trainee-5", {"iop_mmhg": 18, "dilated_pupil_mm": 4, "axial_length_mm": 23}),
    ):
        with pytest.raises(Conflict):
            store.save_case(case, 1, changes, by)
    assert store.version(case) == third


@pytest.mark.parametrize("mine", [{"iop_mmhg": 18}, {"dilated_pupil_mm": 4}])
def test_the_second_of_two_is_shown_the_difference_and_nothing_of_it_is_kept(
    store: Store, mine: dict[str, int]
) -> None:
    case = shared(store).case_id
    store.save_case(case, 1, {"iop_mmhg": 24}, "trainee-5")
    with pytest.raises(Conflict, match="trainee-5 saved this case meanwhile") as told:
        store.save_case(case, 1, mine, "trainee-3")
    expected = {"iop_mmhg": ThreeWayDifference("iop_mmhg", 15, 24, 15)}
    for name, value in mine.items():
        base, theirs = (15, 24) if name == "iop_mmhg" else (None, None)
        expected[name] = ThreeWayDifference(name, base, theirs, value)
    assert {one.name: one for one in told.value.differences} == expected
    assert (told.value.base.number, told.value.current.number) == (1, 2)
    assert len(store.versions(case)) == 2
    # Having seen both, the second decides.
    third = store.save_case(case, told.value.current.number, mine, "trainee-3")
    assert third.number == 3


def test_the_same_save_sent_twice_is_one_version(store: Store) -> None:
    """A browser whose connection was lost after the first was kept sends it again."""
    case = store.new_case(document(), "trainee-3").case_id
    second = store.save_case(case, 1, {"iop_mmhg": 24}, "trainee-3")
    assert store.save_case(case, 1, {"iop_mmhg": 24}, "trainee-3") == second


def test_the_same_value_hides_no_other_change(store: Store) -> None:
    case = shared(store).case_id
    store.save_case(case, 1, {"iop_mmhg": 24, "inr": 2}, "trainee-5")
    with pytest.raises(Conflict):
        store.save_case(case, 1, {"iop_mmhg": 24}, "trainee-3")


def test_a_change_withdraws_the_approval_and_tells_everybody_it_touches(store: Store) -> None:
    version, snapshot = prepared(store)
    case = version.case_id
    store.hand_over(case, "trainee-3", "trainee-5", "trainee-3")
    approved(store, version, snapshot)
    store.allocate(case, DAY, "theatre 2", 1, "consultant-2", "organiser-1", "trainee-5")
    store.save_case(case, 1, {"phacodonesis": "yes"}, "trainee-5", seen=seen(store, case))
    [approval] = store.approvals(case)
    assert approval.ended is not None and approval.ended.kind == "withdrawn"
    assert approval.ended.why == "phacodonesis changed by trainee-5: version 2"
    now = store.case_now(case)
    assert (now.state, now.approval) == ("draft", None)
    assert now.allocation is not None, "it stays on the list, where all can see that it is not approved"
    for person in ("trainee-3", "consultant-1", "trainee-5", "consultant-2", "organiser-1"):
        told = [notice.text for notice in store.notices(person)]
        assert any("approval by consultant-1 is withdrawn" in text for text in told), person


def test_a_change_ends_what_was_submitted(store: Store) -> None:
    version, snapshot = prepared(store)
    store.submit(version.case_id, 1, snapshot.id, "trainee-3")
    store.save_case(version.case_id, 1, {"inr": 2}, "consultant-2", seen=seen(store, version.case_id))
    assert store.waiting() == ()
    assert "submit it again" in store.notices("trainee-3")[0].text


def test_a_change_ends_only_what_whoever_made_it_saw(store: Store) -> None:
    version, snapshot = prepared(store)
    case, before = version.case_id, seen(store, version.case_id)
    given = approved(store, version, snapshot)
    for old in (before, Seen(submission=1)):
        with pytest.raises(DecidedMeanwhile, match="consultant-1 approved it for tier 2"):
            store.save_case(case, 1, {"inr": 2}, "trainee-3", seen=old)
    assert store.approval(given.id).ended is None and store.version(case).number == 1
    # What has ended by itself meanwhile is no reason to refuse the change.
    on_page = seen(store, case)
    store.withdraw(given.id, "to look again", "consultant-1")
    assert store.save_case(case, 1, {"inr": 2}, "trainee-3", seen=on_page).number == 2


def test_one_eye_is_entered_once_and_the_other_is_another_case(store: Store) -> None:
    store.new_case(document(), "trainee-3")
    with pytest.raises(PlannerError, match="is here already"):
        store.new_case(document(), "trainee-5")
    for same in ("a-104", " A-104 "):
        with pytest.raises(PlannerError, match="A-104, right eye, is here already"):
            store.new_case(document(same), "trainee-5")
    left = store.new_case(document(eye="left"), "trainee-3")
    assert store.find_case("A-104", "left") == store.case(left.case_id)
    assert store.find_case("A-999", "left") is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"eye": "left"}, "cannot be changed"),
        ({"case": "A-1"}, "cannot be changed"),
        ({"findings": {}}, "cannot be changed"),
        ({"biometry_reference": "John Smith"}, "person's name"),
        ({"patient": "Smith"}, "has no digit"),
        ({"iop_mmhg": float("nan")}, "not plain"),
        ({"iop_mmhg": object()}, "not plain"),
    ],
)
def test_what_cannot_be_saved_is_refused(store: Store, changes: dict[str, object], said: str) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    with pytest.raises(PlannerError, match=said):
        store.save_case(case, 1, changes, "trainee-3")
    assert len(store.versions(case)) == 1


@pytest.mark.parametrize(
    "broken",
    [
        {"eye": "right"},
        {"case": "A-1"},
        {"case": "A-1", "eye": "both"},
        {"case": None, "eye": "left"},
        {"case": "A-1", "eye": "left", "surname": "x"},
        {"case": "Smith", "eye": "left"},
    ],
)
def test_what_is_no_case_is_refused(store: Store, broken: dict[str, object]) -> None:
    with pytest.raises(PlannerError):
        store.new_case(broken, "trainee-3")
    assert store.cases() == ()


@pytest.mark.parametrize("by", ["organiser-1", "admin-1", "nobody-9", "trainee-9"])
def test_only_who_prepares_cases_may_enter_them(store: Store, by: str) -> None:
    with pytest.raises(PlannerError):
        store.new_case(document(), by)


def test_what_is_not_there_is_said_not_to_be(store: Store) -> None:
    with pytest.raises(PlannerError, match="there is no case 77"):
        store.case_now(77)
    with pytest.raises(PlannerError):
        store.save_case(77, 1, {"inr": 2}, "trainee-3")
    case = store.new_case(document(), "trainee-3").case_id
    with pytest.raises(PlannerError, match="no version 9"):
        store.save_case(case, 9, {"inr": 2}, "trainee-3")


def test_the_table_of_cases_narrows(store: Store) -> None:
    for reference, tier in {"A-1": 2, "A-2": 4, "b_3": 3}.items():
        prepared(store, reference, tier, by="trainee-5" if tier == 4 else "trainee-3")
    third = store.find_case("b_3", "right")
    assert third is not None
    store.record_outcome(third.id, DAY, "trainee-3", "trainee-3")

    def found(**filters: object) -> list[str]:
        return [now.case.reference for now in store.cases(**filters)]  # type: ignore[arg-type]

    prepared(store, "A-10")
    assert found(reference="A-") == ["A-1", "A-2", "A-10"], "as people count"
    case = store.find_case("A-10", "right")
    assert case is not None
    store.record_outcome(case.id, DAY, "trainee-3", "trainee-3")
    assert found() == ["A-1", "A-2"]
    assert found(operated=True) == ["A-1", "A-2", "A-10", "b_3"]
    assert found(state="operated") == ["A-10", "b_3"]
    assert found(tier=4) == found(by="trainee-5") == ["A-2"]
    assert found(reference="a-") == ["A-1", "A-2"]
    assert found(reference="B_", operated=True) == ["b_3"]
    assert found(reference="%") == []
    assert found(patient="P-0381") == ["A-1", "A-2"] and found(patient="P-1") == []


def test_a_snapshot_is_kept_once_and_belongs_to_its_eye(store: Store) -> None:
    version, snapshot = prepared(store)
    assert store.keep_snapshot(version.case_id, 1, plan(), "trainee-5") == snapshot
    assert store.snapshot(snapshot.id).assessment == plan()
    assert (snapshot.mode, snapshot.mode_by, snapshot.stage) == ("in-theatre", "trainer", "middle")
    assert store.case_now(version.case_id).snapshot == replace(snapshot, assessment=None)
    assert store.keep_snapshot(version.case_id, 1, plan(sha256="b" * 64), "trainee-5").id != snapshot.id
    for other in (plan("A-105"), plan(eye="left")):
        with pytest.raises(PlannerError, match="not of A-104, right eye"):
            store.keep_snapshot(version.case_id, 1, other, "trainee-3")
    for broken in ({}, {"assessment": {}}, {"assessment": {"rulebook": {}, "tier": {}}}):
        with pytest.raises(PlannerError, match="not an assessment"):
            store.keep_snapshot(version.case_id, 1, broken, "trainee-3")
