"""Whose a case is: its author's until it is handed over; nobody else's edit touches it or its approval."""

from __future__ import annotations

import pytest
from invented_unit import approved, document, prepared, seen

from planner.errors import PlannerError
from planner.records.owning import NotTheirs
from planner.records.store import Store


def test_another_trainees_edit_of_an_approved_case_is_refused_and_withdraws_nothing(store: Store) -> None:
    version, snapshot = prepared(store)
    given = approved(store, version, snapshot)
    with pytest.raises(NotTheirs, match="trainee-3 has this case, and trainee-5 may not change it") as told:
        store.save_case(version.case_id, 1, {"inr": 2}, "trainee-5", seen=seen(store, version.case_id))
    assert told.value.owner == "trainee-3" and "ask trainee-3 or a consultant" in str(told.value)
    assert store.approval(given.id).ended is None and len(store.versions(version.case_id)) == 1
    assert store.verify()


@pytest.mark.parametrize(
    ("by", "may"),
    [
        *[(code, True) for code in ("trainee-3", "consultant-1", "consultant-2")],
        *[(code, False) for code in ("trainee-5", "organiser-1", "admin-1", "command-line", "server")],
    ],
)
def test_who_may_edit(store: Store, by: str, may: bool) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    if may:
        assert store.save_case(case, 1, {"inr": 2}, by).by == by
    else:
        with pytest.raises(PlannerError):
            store.save_case(case, 1, {"inr": 2}, by)


def test_handed_over_it_is_the_others_and_both_hear_of_it(store: Store) -> None:
    version, snapshot = prepared(store)
    case = version.case_id
    handed = store.hand_over(case, "trainee-3", "trainee-5", "consultant-1", "another rotation")
    assert store.handovers(case) == (handed,) and (handed.to_whom, handed.by) == ("trainee-5", "consultant-1")
    now = store.case_now(case)
    assert (now.owners, now.owner) == (("trainee-3", "trainee-5"), "trainee-5")
    assert "was handed to you by consultant-1: another rotation" in store.notices("trainee-5")[0].text
    assert "was handed to trainee-5 by consultant-1" in store.notices("trainee-3")[0].text
    # Who prepared it may still put right what they wrote.
    store.save_case(case, 1, {"inr": 2}, "trainee-5")
    version = store.save_case(case, 2, {"inr": 3}, "trainee-3")
    [entry] = [row for row in store.trail(case_id=case) if row.kept_in == "handovers"]
    assert (entry.who, entry.what) == ("consultant-1", "handed over")
    # Whoever has it hears what is decided, though another saved and submitted it.
    kept = store.keep_snapshot(case, 3, snapshot.assessment or {}, "trainee-3")
    approved(store, version, kept)
    assert "was approved by consultant-1" in store.notices("trainee-5")[0].text
    assert store.verify()


@pytest.mark.parametrize("by", ["trainee-5", "admin-1", "command-line"])
def test_who_may_not_hand_over(store: Store, by: str) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    with pytest.raises(PlannerError):
        store.hand_over(case, "trainee-3", "trainee-5", by)
    assert store.case_now(case).owner == "trainee-3"


@pytest.mark.parametrize("by", ["trainee-3", "consultant-2", "organiser-1"])
def test_who_may_hand_over(store: Store, by: str) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    store.hand_over(case, "trainee-3", "trainee-5", by)
    # And whoever has it hands it on, back here; to whoever had it, it was never lost.
    store.hand_over(case, "trainee-5", "trainee-3", "trainee-5")
    assert store.case_now(case).owners == ("trainee-3", "trainee-5", "trainee-3")


@pytest.mark.parametrize(
    ("to", "said"),
    [("nobody", "nobody active"), ("organiser-1", "prepares no cases"), ("trainee-3", "has this case already")],
)
def test_to_whom_it_cannot_be_handed(store: Store, to: str, said: str) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    with pytest.raises(PlannerError, match=said):
        store.hand_over(case, "trainee-3", to, "trainee-3")
    store.change_person("trainee-5", "admin-1", active=False)
    with pytest.raises(PlannerError, match="nobody active"):
        store.hand_over(case, "trainee-3", "trainee-5", "trainee-3")


def test_handed_over_meanwhile(store: Store) -> None:
    case = store.new_case(document(), "trainee-3").case_id
    store.hand_over(case, "trainee-3", "trainee-5", "consultant-1")
    with pytest.raises(PlannerError, match="trainee-5 has it by now, not trainee-3"):
        store.hand_over(case, "trainee-3", "consultant-2", "trainee-3")
    assert store.case_now(case).owner == "trainee-5"
