"""Several places changed at once, locked and published: all of it or nothing, on both kinds of database."""

from __future__ import annotations

import datetime

import pytest
from invented_unit import DAY, approved, prepared

from planner.errors import PlannerError
from planner.records.list_places import ListsChanged
from planner.records.list_versions import PublishedMeanwhile
from planner.records.rows import WantedPlace
from planner.records.store import Store

NEXT = DAY + datetime.timedelta(7)


def approved_case(store: Store, reference: str) -> int:
    version, snapshot = prepared(store, reference)
    approved(store, version, snapshot)
    return version.case_id


@pytest.fixture
def cases(store: Store) -> list[int]:
    """Three approved cases, the first two on a list."""
    made = [approved_case(store, reference) for reference in ("A-1", "A-2", "A-3")]
    for place, case in enumerate(made[:2], 1):
        store.allocate(case, DAY, "theatre 1", place, "consultant-1", "organiser-1", "trainee-3", "tue-1")
    return made


def at(case: int, place: int, day: datetime.date = DAY, supervisor: str = "consultant-1") -> WantedPlace:
    return WantedPlace(case, day, "theatre 1", place, "trainee-3", supervisor, "tue-1")


def seen(store: Store, *days: datetime.date) -> list[int]:
    return [now.allocation.id for day in days or (DAY,) for now in store.list_of(day) if now.allocation]


def order(store: Store, day: datetime.date = DAY) -> list[str]:
    return [now.case.reference for now in store.list_of(day)]


def test_places_change_together_and_what_stays_keeps_its_row(store: Store, cases: list[int]) -> None:
    one, two, three = cases
    first = seen(store)[0]
    assert store.arrange(seen(store), [at(one, 1), at(three, 2), at(two, 3)], "organiser-1") == 2
    assert order(store) == ["A-1", "A-3", "A-2"] and seen(store)[0] == first
    ended = next(place.ended for place in store.allocations(two) if place.ended)
    assert ended.kind == "moved"
    assert store.verify()


def test_coming_off_needs_a_reason_and_is_told_once(store: Store, cases: list[int]) -> None:
    one, _, three = cases
    with pytest.raises(PlannerError, match="a case comes off its list"):
        store.arrange(seen(store), [at(one, 1)], "organiser-1")
    assert order(store) == ["A-1", "A-2"]
    before = len(store.notices("trainee-3"))
    store.arrange(seen(store), [at(three, 1), at(one, 2)], "organiser-1", "fever this morning")
    notices = store.notices("trainee-3")
    assert len(notices) == before + 1
    told = " ".join(notice.text for notice in notices)
    assert "A-2, right eye, is off the list of" in told and "fever this morning" in told
    assert "A-3, right eye, is on the list of" in told
    # A-1 only moved down by one: nobody need hear of it.
    assert not any("A-1, right eye" in notice.text and "place 2" in notice.text for notice in notices)


def test_the_second_of_two_is_told_what_the_first_did(store: Store, cases: list[int]) -> None:
    one, two, three = cases
    looked_at = seen(store)
    store.arrange(looked_at, [at(two, 1), at(one, 2)], "organiser-1", "the anaesthetist comes late")
    with pytest.raises(ListsChanged) as refused:
        store.arrange(looked_at, [at(one, 1), at(two, 2), at(three, 3)], "consultant-1")
    told = str(refused.value)
    assert "organiser-1: the anaesthetist comes late" in told and "A-1, right eye" in told
    assert order(store) == ["A-2", "A-1"] and store.verify()


def test_a_place_given_meanwhile_is_seen(store: Store, cases: list[int]) -> None:
    one, two, three = cases
    looked_at = seen(store)
    store.allocate(three, DAY, "theatre 2", 1, "consultant-2", "consultant-1")
    with pytest.raises(ListsChanged, match="consultant-1 put it there"):
        store.arrange(looked_at, [at(two, 1), at(one, 2)], "organiser-1")


def test_from_one_day_to_another(store: Store, cases: list[int]) -> None:
    one, two, _ = cases
    store.arrange(seen(store, DAY, NEXT), [at(one, 1), at(two, 1, NEXT)], "organiser-1")
    assert order(store) == ["A-1"] and order(store, NEXT) == ["A-2"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"place": 1}, "wanted twice"),
        ({"place": 0}, "is no place on a list"),
        ({"supervisor": "nobody"}, "nobody active"),
        ({"trainee": "consultant-1"}, "cannot supervise their own"),
        ({"theatre": " "}, "theatre"),
    ],
)
def test_a_fault_anywhere_changes_nothing(store: Store, cases: list[int], change: dict[str, object], said: str) -> None:
    one, two, three = cases
    before, trail = seen(store), store.trail()
    wrong = WantedPlace(**({"case_id": three, "day": DAY, "theatre": "theatre 1", "place": 3, "trainee": "trainee-3",
                       "supervisor": "consultant-1", "session": "tue-1"} | change))  # type: ignore[arg-type]  # fmt: skip
    with pytest.raises(PlannerError, match=said):
        store.arrange(before, [at(two, 2, supervisor="consultant-2"), at(one, 1), wrong], "organiser-1")
    assert seen(store) == before and store.trail() == trail


def test_what_has_no_approval_goes_on_no_list(store: Store, cases: list[int]) -> None:
    one, two, three = cases
    approval = store.case_now(three).approval
    assert approval is not None
    store.withdraw(approval.id, "to look again", "consultant-1")
    with pytest.raises(PlannerError, match="no approval that stands"):
        store.arrange(seen(store), [at(one, 1), at(two, 2), at(three, 3)], "organiser-1")


def test_a_locked_case_keeps_session_and_people_but_may_move_up(store: Store, cases: list[int]) -> None:
    one, two, three = cases
    store.lock(two, "the ring is there that day only", "organiser-1")
    assert [lock.case_id for lock in store.locks()] == [two]
    for wanted, why in (([at(one, 1)], "so"), ([at(one, 1), at(two, 2, supervisor="consultant-2")], "")):
        with pytest.raises(PlannerError, match="is locked in its place"):
            store.arrange(seen(store), wanted, "organiser-1", why)
    with pytest.raises(PlannerError, match="is locked in its place"):
        store.unallocate(seen(store)[1], "so", "organiser-1")
    store.arrange(seen(store), [at(two, 1), at(three, 2)], "organiser-1", "A-1 has a fever")
    assert order(store) == ["A-2", "A-3"] and [lock.case_id for lock in store.locks()] == [two]
    store.unlock(two, "a ring came for Thursday", "organiser-1")
    assert store.locks() == ()
    store.arrange(seen(store), [at(three, 1)], "organiser-1", "so")
    with pytest.raises(PlannerError, match="no place to be locked"):
        store.lock(two, "so", "organiser-1")


def test_versions_are_counted_and_kept_whole(store: Store, cases: list[int]) -> None:
    rows = {"rows": [{"case": "A-1"}, {"case": "A-2"}]}
    assert store.publish(DAY, "tue-1", rows, "organiser-1", after=0).number == 1
    off = {"trainee-3": "all off"}
    assert store.publish(DAY, "tue-1", {"rows": []}, "consultant-1", "nobody came", off, after=1).number == 2
    assert [version.document for version in store.list_versions(DAY, "tue-1")] == [rows, {"rows": []}]
    last = store.published([DAY, NEXT])
    assert {key: version.number for key, version in last.items()} == {(DAY, "tue-1"): 2}
    assert any(notice.text == "all off" for notice in store.notices("trainee-3"))
    assert store.verify()


def test_a_list_is_published_once_from_what_was_seen(store: Store) -> None:
    rows = {"rows": [{"case": "A-1"}]}
    first = store.publish(DAY, "tue-1", rows, "organiser-1", "first", after=0)
    with pytest.raises(PublishedMeanwhile, match="organiser-1 published version 1") as told:
        store.publish(DAY, "tue-1", rows, "consultant-1", after=0)
    assert told.value.last == first
    with pytest.raises(PlannerError, match="no version 3"):
        store.publish(DAY, "tue-2", rows, "consultant-1", after=3)
    # The same list again is no new version, and nobody hears of it; a new note is worth one.
    for note in ("", "first"):
        assert store.publish(DAY, "tue-1", rows, "organiser-1", note, {"trainee-5": "again"}, after=1) == first
    assert store.notices("trainee-5") == ()
    assert store.publish(DAY, "tue-1", rows, "organiser-1", "starts at nine", after=1).number == 2


@pytest.mark.parametrize("by", ["trainee-3", "admin-1", "nobody"])
def test_who_may_not(store: Store, cases: list[int], by: str) -> None:
    for act in (
        lambda: store.arrange(seen(store), [at(cases[1], 1), at(cases[0], 2)], by),
        lambda: store.lock(cases[0], "so", by),
        lambda: store.publish(DAY, "tue-1", {}, by, after=0),
    ):
        with pytest.raises(PlannerError):
            act()
