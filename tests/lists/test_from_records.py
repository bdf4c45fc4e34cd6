"""The lists as the records hold them: what was approved counts, and what is decided goes back whole."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from served import coming_sessions, pool_entered

from planner.errors import PlannerError
from planner.lists.checker import check
from planner.lists.from_records import FromRecords, Held
from planner.lists.instance import Instance, Lists, Placing
from planner.lists.match import match
from planner.records.rows import StepChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
ON = datetime.date.today()
TUESDAY = ON + datetime.timedelta(days=7)


@pytest.fixture(scope="module")
def entered(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the demonstration's pool, approved and without a place."""
    path = tmp_path_factory.mktemp("lists") / "planner.db"
    store = Store.open(str(path))
    assert pool_entered(store, rulebook) == 48
    store.close()
    return path


@pytest.fixture
def store(entered: Path, tmp_path: Path) -> Iterator[Store]:
    shutil.copyfile(entered, tmp_path / "planner.db")
    opened = Store.open(str(tmp_path / "planner.db"))
    yield opened
    opened.close()


@pytest.fixture
def reader(store: Store, rulebook: Rulebook) -> FromRecords:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    return FromRecords(store, rulebook, unit, coming_sessions(rulebook))


def placed(held: Held, *lines: tuple[str, str, str | None, str]) -> Lists:
    """Cases by reference, each with session, trainee and supervisor, in order."""
    keys = {reference: (reference, eye) for reference, eye in held.instance.cases}
    counted: dict[str, int] = {}
    placings = list(held.lists.placings)
    for reference, session, trainee, supervisor in lines:
        counted[session] = counted.get(session, sum(p.session == session for p in placings)) + 1
        placings.append(Placing(session, counted[session], keys[reference], trainee, supervisor))
    return Lists(tuple(placings))


def test_approved_as_the_rulebook_has_it_is_what_the_case_files_give(reader: FromRecords, demo: Instance) -> None:
    held = reader.held(ON)
    # The dates apart, which stand as much later as today is.
    none: dict[str, Any] = {"last_day": None, "why_then": "", "away": frozenset(), "not_before": None}
    undated = {key: replace(case, **none) for key, case in held.instance.cases.items()}
    assert undated == {key: replace(case, **none) for key, case in demo.cases.items()}
    assert held.instance.times == demo.times
    assert len(held.waiting) == 48 and held.lists.placings == ()


def test_lists_go_into_the_records_and_come_back(reader: FromRecords, store: Store) -> None:
    held = reader.held(ON)
    proposed = match(held.instance).lists
    assert held.arrange(store, proposed, "organiser-1") == len(proposed.placings) == 44
    again = reader.held(ON)
    assert set(again.lists.placings) == set(proposed.placings) and len(again.waiting) == 4
    assert again.elsewhere == () and check(again.instance, again.lists).stands
    assert again.arrange(store, again.lists, "organiser-1") == 0


def test_a_tier_that_the_consultant_raised_decides_the_supervision(reader: FromRecords, store: Store) -> None:
    plain = reader.held(ON).instance.cases[("L-401", "right")]
    assert plain.tier == 1 and plain.with_stage["late"].mode == "on-site"
    now = store.case_now(store.find_case("L-401", "right").id)  # type: ignore[union-attr]
    assert now.approved_snapshot is not None
    steps = [StepChange("nucleus", "supervisor")]
    store.approve(
        now.case.id, 1, now.approved_snapshot.id, "consultant-2", 3, "scrubbed", steps, reason="the fellow eye"
    )
    raised = reader.held(ON).instance.cases[("L-401", "right")]
    # Whatever the stage: never less close than approved, and the nucleus is the supervisor's.
    modes = {stage: supervision.mode for stage, supervision in raised.with_stage.items()}
    assert raised.tier == 3 and modes["late"] == "scrubbed" and "on-site" not in modes.values()
    assert all("nucleus" not in supervision.steps for supervision in raised.with_stage.values())


def test_what_was_relaxed_for_a_stage_is_not_an_earlier_one_s(reader: FromRecords, store: Store) -> None:
    hard = reader.held(ON).instance.cases[("L-414", "left")]
    now = store.case_now(store.find_case("L-414", "left").id)  # type: ignore[union-attr]
    assert now.approved_snapshot is not None and now.approved_snapshot.stage is not None
    store.approve(
        now.case.id, 1, now.approved_snapshot.id, "consultant-2", 3, "on-site", reason="seen at the slit lamp"
    )
    relaxed = reader.held(ON).instance.cases[("L-414", "left")]
    order = ["steps-only", "early", "middle", "late", "independent"]
    for stage, supervision in relaxed.with_stage.items():
        if order.index(stage) >= order.index(now.approved_snapshot.stage):
            assert supervision.mode == "on-site"
        else:
            assert supervision == hard.with_stage[stage]


def test_an_approval_that_ends_leaves_the_case_on_its_list_and_breaks_it(reader: FromRecords, store: Store) -> None:
    held = reader.held(ON)
    held.arrange(store, placed(held, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    now = store.case_now(store.find_case("L-401", "right").id)  # type: ignore[union-attr]
    assert now.approval is not None
    store.withdraw(now.approval.id, "a new measurement", "consultant-1")
    again = reader.held(ON)
    (broken,) = check(again.instance, again.lists).broken
    assert broken.rule == "settled" and "no approval stands" in broken.says
    assert ("L-401", "right") not in again.waiting


def test_places_that_fit_no_session_are_told_and_left_alone(reader: FromRecords, store: Store) -> None:
    case = store.find_case("L-401", "right")
    other = store.find_case("L-402", "left")
    assert case is not None and other is not None
    store.allocate(case.id, TUESDAY, "theatre 9", 1, "consultant-1", "organiser-1")
    store.add_person("trainee-9", "Nobody's", "trainee", "command-line")
    store.allocate(other.id, TUESDAY, "theatre 1", 1, "consultant-1", "organiser-1", "trainee-9")
    held = reader.held(ON)
    assert [one.because for one in held.elsewhere] == [
        "trainee-9 is no trainee of the roster",
        "no session of the roster runs in theatre 9 that day",
    ]
    assert held.lists.placings == () and ("L-401", "right") not in held.waiting
    held.arrange(store, placed(held, ("L-403", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    assert {at.theatre for at in store.allocations(case.id) if at.ended is None} == {"theatre 9"}
    assert len(store.list_of(TUESDAY)) == 3


def test_two_at_once_the_second_is_told(reader: FromRecords, store: Store) -> None:
    mine, theirs = reader.held(ON), reader.held(ON)
    theirs.arrange(store, placed(theirs, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "consultant-1")
    with pytest.raises(PlannerError, match="consultant-1 put it there"):
        mine.arrange(store, placed(mine, ("L-402", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")


def test_locked_placings_are_what_is_kept(reader: FromRecords, store: Store) -> None:
    held = reader.held(ON)
    lines = (("L-401", "tue-1-a", "trainee-5", "trainer-1"), ("L-402", "tue-1-a", "trainee-5", "trainer-1"))
    held.arrange(store, placed(held, *lines), "organiser-1")
    case = store.find_case("L-402", "left")
    assert case is not None
    store.lock(case.id, "asked for that day", "organiser-1")
    held = reader.held(ON)
    assert held.locked == {("L-402", "left"): "asked for that day"}
    assert [placing.case for placing in held.kept.placings] == [("L-402", "left")]
    with pytest.raises(PlannerError, match="locked"):
        held.arrange(store, replace(held.lists, placings=held.lists.placings[:1]), "organiser-1", "so")


def test_plans_print_as_approved_for_the_trainee_who_operates(reader: FromRecords, store: Store) -> None:
    held = reader.held(ON)
    held.arrange(store, placed(held, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    held = reader.held(ON)
    plan = reader.plans(held, held.lists.placings)[("L-401", "right")]
    assert plan.supervision.stage == "late" and plan.approval is not None
    assert plan.approval.by == "Invented consultant-1"
