"""What is on the lists is asked of the desk, with a roster or without one, and each eye is planned once for it."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from served import UNIT, coming_sessions, pool_entered, staffed
from visits import CHEAP, Visit

from planner.desk.desk import Desk
from planner.desk.lists import lists_now
from planner.desk.placing import accept, arrange, barred, propose, publish
from planner.lists.matching.insertion import Assignment, put, taken_off
from planner.lists.roster.shapes import Roster
from planner.plan import eye_plan
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

TUESDAY = datetime.date.today() + datetime.timedelta(days=7)


@pytest.fixture(scope="module")
def entered(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    path = tmp_path_factory.mktemp("lists") / "planner.db"
    store = staffed(str(path))
    count = pool_entered(store, rulebook)
    store.close()
    return path, count


@pytest.fixture
def desk_with(
    entered: tuple[Path, int], tmp_path: Path, rulebook: Rulebook
) -> Iterator[Callable[[Roster | None], Desk]]:
    shutil.copyfile(entered[0], tmp_path / "planner.db")
    store = Store.open(str(tmp_path / "planner.db"))
    yield lambda roster: Desk(store, rulebook, read_unit(UNIT, rulebook), roster)
    store.close()


def test_a_cold_page_of_lists_plans_each_eye_once(
    entered: tuple[Path, int],
    desk_with: Callable[[Roster | None], Desk],
    rulebook: Rulebook,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every stage, approval and page shares the one plan of an eye; before, 288 plans were made for 48 cases."""
    visit = Visit(make_app(desk_with(coming_sessions(rulebook)), Settings(secure_cookies=False), Passwords(CHEAP)))
    assert visit.sign_in("organiser-1") == 303
    made, choose = list[object](), eye_plan.choose

    def counted(picture: Any) -> Any:
        # The ordinary eye beside which others differ belongs to no case, and is made once for all.
        if picture.case.reference:
            made.append(picture)
        return choose(picture)

    monkeypatch.setattr(eye_plan, "choose", counted)
    for kept in vars(eye_plan).values():
        if hasattr(kept, "cache_clear"):
            kept.cache_clear()
    assert "Approved, without a place: 48" in visit.get("/lists").text
    assert len(made) == entered[1] == 48
    visit.get("/lists")
    assert len(made) == 48


def test_without_a_roster_there_are_no_sessions_to_judge(desk_with: Callable[[Roster | None], Desk]) -> None:
    assert lists_now(desk_with(None)) is None


def test_a_proposal_is_entered_round_what_stands_and_nothing_is_matched_round_what_is_broken(
    desk_with: Callable[[Roster | None], Desk], rulebook: Rulebook
) -> None:
    desk = desk_with(coming_sessions(rulebook))
    before = lists_now(desk)
    assert before is not None and barred(before, again=False) == ()
    proposal = propose(before, again=False)
    assert proposal.how_good.startswith("Not proved to be the best")
    assert accept(desk, before, proposal.lists, "organiser-1", "") == ()
    after = lists_now(desk)
    assert after is not None and after.seen != before.seen and after.verdict.stands
    assert {placing.case for placing in after.lists.placings} == {p.case for p in proposal.lists.placings}
    # Everything into one session is too long for it, and stays out unless somebody says why.
    full = after.lists
    for placing in after.lists.placings:
        full = put(full, placing.case, Assignment("tue-1-a", placing.trainee, placing.supervisor))
    assert accept(desk, after, full, "organiser-1", "") != ()
    again = lists_now(desk)
    assert again is not None and again.seen == after.seen


def test_people_are_told_of_what_is_theirs_of_what_changed_and_of_what_is_theirs_no_longer(
    desk_with: Callable[[Roster | None], Desk], rulebook: Rulebook
) -> None:
    desk = desk_with(coming_sessions(rulebook))

    def placed(*cases: tuple[tuple[str, str], str, str], off: tuple[str, str] | None = None) -> dict[str, str]:
        now = lists_now(desk)
        assert now is not None
        lists = now.lists if off is None else taken_off(now.lists, off)
        for key, trainee, supervisor in cases:
            lists = put(lists, key, Assignment("tue-1-a", trainee, supervisor))
        arrange(desk, now.held, lists, "organiser-1", "why")
        then = lists_now(desk)
        assert then is not None
        return then.notices("tue-1-a")

    first, second = ("L-401", "right"), ("L-402", "left")
    told = placed((first, "trainee-5", "consultant-1"), (second, "trainee-5", "consultant-1"))
    assert set(told) == {"trainee-5", "consultant-1"}
    assert told["trainee-5"].endswith("is published: L-401, right eye: on your list; L-402, left eye: on your list")
    now = lists_now(desk)
    assert now is not None
    publish(
        desk, now.week, "tue-1-a", now.verdict, desk.store.person("consultant-1"), "so", now.notices("tue-1-a"), 0
    )  # fmt: skip
    told = placed((first, "trainee-4", "consultant-1"), off=second)
    assert told["trainee-4"].endswith("is published: L-401, right eye: on your list")
    assert "L-401, right eye: off your list" in told["trainee-5"] and "L-402, left eye: off" in told["trainee-5"]
    assert "L-401, right eye: changed on your list" in told["consultant-1"]
