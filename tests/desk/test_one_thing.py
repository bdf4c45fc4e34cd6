"""What was approved is what theatre gets: brief, papers, plan, table and published list say one thing."""

from __future__ import annotations

import csv
import datetime
import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader
from served import UNIT, coming_sessions, pool_entered

from planner.desk.desk import Desk
from planner.desk.placing import allocate, arrange, publish
from planner.desk.plan_in_force import plan_in_force, plans_on_lists
from planner.documents.papers.sheet import Place, render_papers
from planner.lists.matching.match import match
from planner.lists.output.brief_view import brief_of
from planner.lists.output.table import table_of
from planner.lists.rules.checker import check
from planner.lists.week.from_records import FromRecords
from planner.lists.week.instance import Lists, Placing
from planner.lists.week.week import Week
from planner.plan.approved import NotCoveredError
from planner.records.rows import CaseNow
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
from planner.unit import read_unit

NOON = datetime.datetime.combine(datetime.date.today(), datetime.time(12), datetime.UTC)
ON = NOON.date()
TUESDAY = ON + datetime.timedelta(days=7)


@pytest.fixture(scope="module")
def entered(rulebook: Rulebook, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("desk") / "planner.db"
    store = Store.open(str(path))
    pool_entered(store, rulebook)
    store.close()
    return path


@pytest.fixture
def desk(entered: Path, tmp_path: Path, rulebook: Rulebook) -> Iterator[Desk]:
    """The demonstration's pool; every third case approved as named: a consultant operates, with the plan's steps."""
    shutil.copyfile(entered, tmp_path / "planner.db")
    store = Store.open(str(tmp_path / "planner.db"))
    unit = read_unit(UNIT, rulebook)
    for now in store.cases(state="approved")[::3]:
        assert now.approved_snapshot is not None
        kept = now.approved_snapshot
        store.approve(
            now.case.id,
            1,
            kept.id,
            "consultant-2",
            kept.tier_working,
            "consultant-operates",
            reason="named",
            seen=now.seen,
        )
    yield Desk(store, rulebook, unit, coming_sessions(rulebook), lambda: NOON)
    store.close()


def now_of(desk: Desk, reference: str, eye: str) -> CaseNow:
    found = desk.store.find_case(reference, eye)
    assert found is not None
    return desk.store.case_now(found.id)


def lists_of(desk: Desk) -> FromRecords:
    lists = desk.lists
    assert lists is not None
    return lists


def test_the_whole_path_says_one_thing_of_every_case(desk: Desk, rulebook: Rulebook) -> None:
    """Before: 23 of 45 placings of the demonstration stood, and printed, lighter than they were approved."""
    before = lists_of(desk).recorded(ON)
    arrange(desk, before, match(before.instance).lists, "organiser-1")
    held = lists_of(desk).recorded(ON)
    week, verdict = Week(held.instance, held.lists), check(held.instance, held.lists)
    assert verdict.broken == () and len(held.lists.placings) > 30
    rows = {(row["case"], row["eye"]): row for row in csv.DictReader(io.StringIO(table_of(held.instance, held.lists)))}
    named = 0
    for session in week.sessions:
        plans = plans_on_lists(desk, held, week.list_of(session.id))
        brief = brief_of(held.instance, held.lists, session.id, plans)
        published = publish(
            desk, week, session.id, verdict, desk.store.person("organiser-1"), "", {}, 0
        ).document["rows"]  # fmt: skip
        for placing, line, kept in zip(week.list_of(session.id), brief.rows, published, strict=True):
            now = held.now[placing.case]
            given, plan, row = now.approval, plan_in_force(desk, now), rows[placing.case]
            assert given is not None and plan.approval is not None and plan == plans[placing.case]
            mode = plan.supervision.mode
            assert (row["mode"] or "consultant-only") == mode == kept["mode"]
            stage = held.instance.trainees[placing.trainee].stage if placing.trainee else None
            if placing.trainee is None:
                assert (line.operator, plan.supervision.trainee_steps) == (placing.supervisor, ())
                continue
            least = (
                given.mode_approved
                if given.covers == "as-named"
                else rulebook.supervision.matrix[given.tier_approved][stage].mode
            )
            assert MODES.index(mode) >= MODES.index(least), (placing, given)
            if given.covers == "as-named":
                named += 1
                assert now.approved_snapshot is not None and stage == now.approved_snapshot.stage
            whole = mode not in ("consultant-operates", "consultant-only")
            assert line.operator.startswith(placing.trainee if whole else placing.supervisor)
            if not whole:
                assert line.steps == ", ".join(plan.supervision.trainee_steps)
                assert "whole operation" not in line.steps
            else:
                assert mode.replace("-", " ") in line.supervisor
    assert named > 5


@pytest.mark.long
def test_the_papers_of_the_day_print_the_brief_s_supervision(desk: Desk) -> None:
    """In a real PDF: what the papers' first page says of each case is what the brief says."""
    before = lists_of(desk).recorded(ON)
    few = replace(before.instance, cases=dict(list(before.instance.cases.items())[:8]))
    arrange(desk, before, match(few).lists, "organiser-1")
    listed = desk.store.list_of(TUESDAY)[:3]
    assert len(listed) == 3
    plans = []
    for now in listed:
        at = now.allocation
        assert at is not None
        place = Place(at.theatre, at.place, now.case.reference, now.case.eye, at.trainee, at.supervisor)
        plans.append((place, plan_in_force(desk, now)))
    first = PdfReader(io.BytesIO(render_papers(TUESDAY, plans, [], "2026-11-30T07:00"))).pages[0].extract_text()
    told = " ".join(first.split())
    for place, plan in plans:
        mode = plan.supervision.mode.replace("-", " ").capitalize()
        assert f"{place.reference}" in told and mode in told


def placed(desk: Desk, reference: str, eye: str, trainee: str | None) -> None:
    held = lists_of(desk).recorded(ON)
    lists = Lists((*held.lists.placings, Placing("tue-1-a", 1, (reference, eye), trainee, "consultant-1")))
    arrange(desk, held, lists, "organiser-1")


def test_what_is_not_covered_is_not_placed_by_hand_nor_from_a_proposal(desk: Desk) -> None:
    now = now_of(desk, "L-401", "right")
    assert now.approval is not None and now.approval.covers == "as-named"
    with pytest.raises(NotCoveredError, match="as named, for early"):
        placed(desk, "L-401", "right", "trainee-5")
    with pytest.raises(NotCoveredError, match="approved as named for Early"):
        allocate(desk, now, TUESDAY, "theatre 9", 1, "trainee-5", "consultant-1", "organiser-1")
    with pytest.raises(NotCoveredError, match="the stage of consultant-2 is not known"):
        allocate(desk, now, TUESDAY, "theatre 9", 1, "consultant-2", "consultant-1", "organiser-1")
    assert desk.store.list_of(TUESDAY) == ()
    placed(desk, "L-401", "right", None)
    plan = plan_in_force(desk, now_of(desk, "L-401", "right"))
    assert plan.supervision.mode == "consultant-only" and plan.supervision.trainee_steps == ()


def test_a_list_that_an_approval_no_longer_covers_is_neither_printed_nor_published(desk: Desk) -> None:
    """Narrowed after the case was placed: nothing of who operates is printed, and nobody may publish it."""
    now = now_of(desk, "L-402", "left")
    assert now.approval is not None and now.approval.covers == "table" and now.approved_snapshot is not None
    placed(desk, "L-402", "left", "trainee-5")
    kept = now.approved_snapshot
    desk.store.approve(
        now.case.id, 1, kept.id, "consultant-2", kept.tier_working, "scrubbed", reason="seen again", seen=now.seen
    )
    held = lists_of(desk).recorded(ON)
    week, verdict = Week(held.instance, held.lists), check(held.instance, held.lists)
    [placing] = week.list_of("tue-1-a")
    line = brief_of(held.instance, held.lists, "tue-1-a", plans_on_lists(desk, held, [placing])).rows[0]
    assert line.operator == "not approved as placed" and "trainee-5" not in line.steps
    with pytest.raises(NotCoveredError, match="approved as named"):
        plan_in_force(desk, now_of(desk, "L-402", "left"))
    for who in ("organiser-1", "consultant-1"):
        with pytest.raises(NotCoveredError, match="as named, for early"):
            publish(desk, week, "tue-1-a", verdict, desk.store.person(who), "it stands all the same", {}, 0)
    assert desk.store.list_versions(TUESDAY, "tue-1-a") == ()


def test_a_trainer_is_not_printed_as_operating_where_a_consultant_was_approved(desk: Desk) -> None:
    """Placed by the table, then approved for a consultant alone: nobody else may be read there."""
    now = now_of(desk, "L-402", "left")
    held = lists_of(desk).recorded(ON)
    lists = Lists((Placing("tue-1-a", 1, ("L-402", "left"), "trainee-5", "trainer-1"),))
    arrange(desk, held, lists, "organiser-1")
    kept = now.approved_snapshot
    assert kept is not None
    desk.store.approve(
        now.case.id,
        1,
        kept.id,
        "consultant-2",
        kept.tier_working,
        "consultant-only",
        reason="seen again",
        seen=now.seen,
    )
    held = lists_of(desk).recorded(ON)
    week, verdict = Week(held.instance, held.lists), check(held.instance, held.lists)
    [placing] = week.list_of("tue-1-a")
    line = brief_of(held.instance, held.lists, "tue-1-a", plans_on_lists(desk, held, [placing])).rows[0]
    assert line.operator == "not approved as placed" and line.steps == "none until approved"
    [row] = csv.DictReader(io.StringIO(table_of(held.instance, held.lists)))
    assert "as named, for early" in row["not_approved"]
    with pytest.raises(NotCoveredError):
        publish(desk, week, "tue-1-a", verdict, desk.store.person("consultant-1"), "all the same", {}, 0)
