"""The roster in the store: entry by entry, so that two organisers lose nothing, on both kinds of database."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Sequence

import pytest
from invented_unit import SUPERVISOR

from planner.errors import PlannerError
from planner.records.rostering import RosterConflict
from planner.records.rows import RosterChange, RosterEntry
from planner.records.store import Store


def session(name: str, minutes: int = 240) -> RosterChange:
    return RosterChange("session", name, 0, {"id": name, "minutes": minutes})


def put(store: Store, *changes: RosterChange, by: str = "organiser-1") -> int:
    return store.change_roster(changes, by)


def held(store: Store) -> dict[tuple[str, str], RosterEntry]:
    return {(entry.kind, entry.key): entry for entry in store.roster()}


def test_an_entry_is_put_in_changed_retired_and_brought_back(store: Store) -> None:
    assert store.roster() == () and store.roster_mark() == 0
    put(store, RosterChange("supervisor", "consultant-1", 0, SUPERVISOR), session("one"))
    put(store, RosterChange("session", "one", 1, {"id": "one", "minutes": 210}))
    put(store, RosterChange("session", "one", 2, None))
    entry = held(store)["session", "one"]
    # What a retired entry was stays to be seen, and to be brought back.
    assert (entry.number, entry.retired, entry.document["minutes"]) == (3, True, 210)
    put(store, RosterChange("session", "one", 3, entry.document))
    assert not held(store)["session", "one"].retired
    assert [one.number for one in store.roster_versions("session", "one")] == [1, 2, 3, 4]
    # Where it was first put it stays, whatever is changed.
    assert [entry.key for entry in store.roster()] == ["consultant-1", "one"]
    entries = [row for row in store.trail() if row.kept_in == "roster_entries"]
    assert [row.what for row in entries[1:]] == [
        "put in the roster", "roster changed", "retired from the roster", "roster changed"
    ]  # fmt: skip
    assert entries[2].before and entries[2].before["document"]["minutes"] == 240
    assert store.roster_mark() == 5
    store.verify()


def test_what_says_the_same_makes_no_version(store: Store) -> None:
    put(store, session("one"))
    assert put(store, RosterChange("session", "one", 1, {"minutes": 240, "id": "one"})) == 0
    assert held(store)["session", "one"].number == 1


def test_two_organisers_at_different_entries_lose_nothing(store: Store) -> None:
    store.add_person("organiser-2", "Invented", "organiser", "admin-1")
    put(store, session("one"), session("two"))
    put(store, RosterChange("session", "one", 1, {"id": "one", "minutes": 60}))
    put(store, RosterChange("session", "two", 1, {"id": "two", "minutes": 90}), by="organiser-2")
    assert [held(store)["session", name].document["minutes"] for name in ("one", "two")] == [60, 90]


def test_the_second_at_one_entry_is_told_who_came_first_and_nothing_is_kept(store: Store) -> None:
    put(store, session("one"), session("two"))
    put(store, RosterChange("session", "one", 1, {"id": "one", "minutes": 60}))
    mine = RosterChange("session", "one", 1, {"id": "one", "minutes": 90})
    with pytest.raises(RosterConflict, match="session one: organiser-1 changed this meanwhile") as told:
        put(store, RosterChange("session", "two", 1, None), mine)
    [(wanted, now)] = told.value.pairs
    assert wanted == mine and now is not None and now.document["minutes"] == 60
    assert not held(store)["session", "two"].retired
    with pytest.raises(RosterConflict):
        put(store, session("one"))
    with pytest.raises(RosterConflict, match="not in the roster"):
        put(store, RosterChange("session", "none", 4, None))


@pytest.mark.parametrize("same", [True, False], ids=["the same entry", "each their own"])
def test_eight_at_once(store: Store, same: bool) -> None:
    put(store, *(session(f"s-{number}") for number in range(8)))
    ready = threading.Barrier(8)
    done: list[object] = []

    def change(number: int) -> None:
        name = "s-0" if same else f"s-{number}"
        ready.wait()
        try:
            done.append(put(store, RosterChange("session", name, 1, {"id": name, "minutes": 60 + number})))
        except RosterConflict as conflict:
            done.append(conflict)

    threads = [threading.Thread(target=change, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = [entry.number for entry in store.roster()]
    assert done.count(1) == (1 if same else 8) and len(done) == 8
    assert sorted(kept) == ([1] * 7 + [2] if same else [2] * 8)
    store.verify()


def test_the_check_sees_what_another_entered_just_before(store: Store) -> None:
    """Two changes that may each stand, and not together: only the first is kept."""

    def at_most_one(before: Sequence[RosterEntry], after: Sequence[RosterEntry]) -> None:
        if len(after) > 1:
            raise PlannerError.one("two")

    ready = threading.Barrier(6)
    refused: list[str] = []

    def add(number: int) -> None:
        ready.wait()
        try:
            store.change_roster([session(f"s-{number}")], "organiser-1", check=at_most_one)
        except PlannerError as error:
            refused.append(str(error))

    threads = [threading.Thread(target=add, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.roster()) == 1 and refused == ["two"] * 5


@pytest.mark.parametrize("by", ["trainee-3", "consultant-1", "admin-1", "nobody"])
def test_only_an_organiser_changes_it(store: Store, by: str) -> None:
    with pytest.raises(PlannerError):
        put(store, session("one"), by=by)
    assert store.roster_mark() == 0


def test_one_entry_twice_in_one_change_is_refused(store: Store) -> None:
    with pytest.raises(PlannerError, match="changed twice at once"):
        put(store, session("one"), session("one", 60))


def test_it_is_in_the_backup_and_the_export(story: Store, new_url: Callable[[], str], tmp_path) -> None:
    saved = io.BytesIO()
    story.backup(saved)
    url = new_url()
    Store.restore(url, saved)
    restored = Store.open(url)
    assert restored.roster() == story.roster() and len(story.roster()) == 1
    restored.close()
    story.export(tmp_path / "all")
    assert '"grade":"consultant"' in (tmp_path / "all" / "roster_entries.json").read_text()
    assert "## roster_entries" in (tmp_path / "all" / "README.md").read_text()
