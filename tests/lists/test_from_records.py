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

from planner.assess.assess import assess
from planner.case import read_case
from planner.desk.desk import Desk
from planner.desk.plan_in_force import plans_on_lists
from planner.documents.json_form import plan_json
from planner.errors import PlannerError
from planner.lists.matching.match import match
from planner.lists.roster.shapes import Patient
from planner.lists.rules.checker import check
from planner.lists.week.from_records import FromRecords, RecordedLists
from planner.lists.week.instance import Fellow, Instance, Lists, Placing
from planner.plan.make import make_plan
from planner.records.rows import CaseNow, Seen, StepChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES
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
def desk(store: Store, rulebook: Rulebook) -> Desk:
    return Desk(store, rulebook, read_unit(DEMO / "unit.yaml", rulebook), coming_sessions(rulebook))


@pytest.fixture
def reader(desk: Desk) -> FromRecords:
    assert desk.lists
    return desk.lists


def placed(held: RecordedLists, *lines: tuple[str, str, str | None, str]) -> Lists:
    """Cases by reference, each with session, trainee and supervisor, in order."""
    keys = {reference: (reference, eye) for reference, eye in held.instance.cases}
    counted: dict[str, int] = {}
    placings = list(held.lists.placings)
    for reference, session, trainee, supervisor in lines:
        counted[session] = counted.get(session, sum(p.session == session for p in placings)) + 1
        placings.append(Placing(session, counted[session], keys[reference], trainee, supervisor))
    return Lists(tuple(placings))


def test_approved_as_the_rulebook_has_it_is_what_the_case_files_give(reader: FromRecords, demo: Instance) -> None:
    held = reader.recorded(ON)
    # The dates apart, which stand as much later as today is.
    assert all(case.approval is not None and case.approval.stands for case in held.instance.cases.values())
    none: dict[str, Any] = {"approval": None, "last_day": None, "why_then": "", "away": frozenset(), "not_before": None}
    none |= {"since": None, "listed": False, "recorded_on": None, "dated": ()}
    undated = {key: replace(case, **none) for key, case in held.instance.cases.items()}
    assert undated == {key: replace(case, **none) for key, case in demo.cases.items()}
    assert held.instance.times == demo.times
    assert len(held.waiting) == 48 and held.lists.placings == ()


def test_lists_go_into_the_records_and_come_back(reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    few = dict(list(held.instance.cases.items())[:12])
    proposed = match(replace(held.instance, cases=few)).lists
    assert held.arrange(store, proposed, "organiser-1") == len(proposed.placings) > 8
    again = reader.recorded(ON)
    assert set(again.lists.placings) == set(proposed.placings)
    assert len(again.waiting) == len(held.instance.cases) - len(proposed.placings)
    assert again.elsewhere == () and check(again.instance, again.lists).stands
    assert again.arrange(store, again.lists, "organiser-1") == 0


def now_of(store: Store, reference: str, eye: str) -> CaseNow:
    found = store.find_case(reference, eye)
    assert found is not None
    return store.case_now(found.id)


def approve(store: Store, now: CaseNow, tier: int, mode: str, **more: Any) -> None:
    assert now.approved_snapshot is not None
    store.approve(now.case.id, 1, now.approved_snapshot.id, "consultant-2", tier, mode, seen=now.seen, **more)


def test_a_tier_raised_for_the_table_decides_the_supervision_of_every_stage(
    reader: FromRecords, store: Store, rulebook: Rulebook
) -> None:
    plain = reader.recorded(ON).instance.cases[("L-401", "right")]
    assert plain.tier == 1 and plain.with_stage["late"].mode == "on-site"
    approve(store, now_of(store, "L-401", "right"), 3, "scrubbed", reason="the fellow eye", covers="table")
    raised = reader.recorded(ON).instance.cases[("L-401", "right")]
    assert raised.tier == 3 and raised.approval is not None and raised.approval.covers("late")
    for stage, supervision in raised.with_stage.items():
        assert MODES.index(supervision.mode) >= MODES.index(rulebook.supervision.matrix[3][stage].mode)  # type: ignore[arg-type]


def test_what_is_approved_as_named_is_placed_with_that_stage_alone(reader: FromRecords, store: Store) -> None:
    """Before: approved for an early trainee scrubbed, and placed with a late one on site as "every rule kept"."""
    now = now_of(store, "L-401", "right")
    assert now.approved_snapshot is not None and now.approved_snapshot.stage == "early"
    steps = [StepChange("nucleus", "supervisor")]
    approve(store, now, 3, "scrubbed", step_changes=steps, reason="the fellow eye")
    held = reader.recorded(ON)
    named = held.instance.cases[("L-401", "right")]
    assert named.with_stage["early"].mode == "scrubbed" and "nucleus" not in named.with_stage["early"].steps
    stages = {trainee.id: trainee.stage for trainee in held.instance.trainees.values()}
    for trainee, stage in stages.items():
        lists = placed(held, ("L-401", "tue-1-a", trainee, "consultant-1"))
        rules = {one.rule for one in check(held.instance, lists).broken}
        assert ("approval-covers" in rules) == (stage != "early"), (trainee, stage)
    alone = check(held.instance, placed(held, ("L-401", "tue-1-a", None, "consultant-1"))).broken
    assert alone == ()
    few = dict(list(held.instance.cases.items())[:8])
    proposed = [p for p in match(replace(held.instance, cases=few)).lists.placings if p.case[0] == "L-401"]
    assert all(p.trainee is None or stages[p.trainee] == "early" for p in proposed)


def test_a_place_judged_by_an_earlier_approval_is_not_entered(reader: FromRecords, store: Store) -> None:
    """Two people at once: one places by what stood, the other approves something narrower in between."""
    held = reader.recorded(ON)
    lists = placed(held, ("L-401", "tue-1-a", "trainee-5", "trainer-1"))
    approve(store, now_of(store, "L-401", "right"), 1, "scrubbed", reason="named")
    with pytest.raises(PlannerError, match="approved again by consultant-2 meanwhile"):
        held.arrange(store, lists, "organiser-1")
    assert store.list_of(TUESDAY) == ()


def test_an_approval_that_ends_leaves_the_case_on_its_list_and_breaks_it(reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    held.arrange(store, placed(held, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    now = store.case_now(store.find_case("L-401", "right").id)  # type: ignore[union-attr]
    assert now.approval is not None
    store.withdraw(now.approval.id, "a new measurement", "consultant-1")
    again = reader.recorded(ON)
    (broken,) = check(again.instance, again.lists).broken
    assert broken.rule == "approval-covers" and "no approval stands" in broken.says
    assert ("L-401", "right") not in again.waiting


def test_places_that_fit_no_session_are_told_and_left_alone(reader: FromRecords, store: Store) -> None:
    case = store.find_case("L-401", "right")
    other = store.find_case("L-402", "left")
    assert case is not None and other is not None
    store.allocate(case.id, TUESDAY, "theatre 9", 1, "consultant-1", "organiser-1")
    store.add_person("trainee-9", "Nobody's", "trainee", "command-line")
    store.allocate(other.id, TUESDAY, "theatre 1", 1, "consultant-1", "organiser-1", "trainee-9")
    held = reader.recorded(ON)
    assert [one.because for one in held.elsewhere] == [
        "trainee-9 is no trainee of the roster",
        "no session of the roster runs in theatre 9 that day",
    ]
    assert held.lists.placings == () and ("L-401", "right") not in held.waiting
    held.arrange(store, placed(held, ("L-403", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    assert {at.theatre for at in store.allocations(case.id) if at.ended is None} == {"theatre 9"}
    assert len(store.list_of(TUESDAY)) == 3


def test_two_at_once_the_second_is_told(reader: FromRecords, store: Store) -> None:
    mine, theirs = reader.recorded(ON), reader.recorded(ON)
    theirs.arrange(store, placed(theirs, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "consultant-1")
    with pytest.raises(PlannerError, match="consultant-1 put it there"):
        mine.arrange(store, placed(mine, ("L-402", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")


def test_locked_placings_are_what_is_kept(reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    lines = (("L-401", "tue-1-a", "trainee-5", "trainer-1"), ("L-402", "tue-1-a", "trainee-5", "trainer-1"))
    held.arrange(store, placed(held, *lines), "organiser-1")
    case = store.find_case("L-402", "left")
    assert case is not None
    store.lock(case.id, "asked for that day", "organiser-1")
    held = reader.recorded(ON)
    assert held.locked == {("L-402", "left"): "asked for that day"}
    assert [placing.case for placing in held.kept.placings] == [("L-402", "left")]
    with pytest.raises(PlannerError, match="locked"):
        held.arrange(store, replace(held.lists, placings=held.lists.placings[:1]), "organiser-1", "so")


def test_plans_print_as_approved_for_the_trainee_who_operates(desk: Desk, reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    held.arrange(store, placed(held, ("L-401", "tue-1-a", "trainee-5", "trainer-1")), "organiser-1")
    held = reader.recorded(ON)
    plan = plans_on_lists(desk, held, held.lists.placings)[("L-401", "right")]
    assert plan.supervision.stage == "late" and plan.approval is not None
    assert plan.approval.by == "Invented consultant-1"


def test_whole_operations_so_far_are_what_happened_and_else_what_was_published(
    reader: FromRecords, store: Store
) -> None:
    def row_of(reference: str, trainee: str | None, whole: bool = True) -> dict[str, Any]:
        eye = next(eye for each, eye in held.instance.cases if each == reference)
        return {"place": 1, "case": reference, "eye": eye, "trainee": trainee, "whole": whole}

    def happened(reference: str, day: datetime.date, operator: str, *steps: StepChange) -> None:
        case = next(now.case for (each, _), now in held.now.items() if each == reference)
        store.record_outcome(case.id, day, operator, "consultant-1", "consultant-1", steps)

    held = reader.recorded(ON)
    assert {trainee.done for trainee in held.instance.trainees.values()} == {0}
    before, long_before = ON - datetime.timedelta(days=3), ON - datetime.timedelta(days=300)
    rows = [row_of("L-401", "trainee-2"), row_of("L-402", "trainee-2"), row_of("L-403", "trainee-3", whole=False)]
    store.publish(before, "past", {"rows": [row_of("L-404", "trainee-4")]}, "organiser-1", after=0)
    store.publish(before, "past", {"rows": rows}, "organiser-1", after=1)  # the last version counts alone
    store.publish(ON, "today", {"rows": [row_of("L-405", "trainee-5")]}, "organiser-1", after=0)
    code = held.codes.get("trainee-2", "trainee-2")
    happened("L-401", before, "consultant-1")  # published for trainee-2, and then the consultant operated
    happened("L-406", before, code)
    happened("L-407", before, code, StepChange("capsulorhexis", "supervisor"))
    happened("L-408", long_before, code)
    done = {name: trainee.done for name, trainee in reader.recorded(ON).instance.trainees.items()}
    assert done == dict.fromkeys(done, 0) | {"trainee-2": 3}  # L-402 as published, L-406 and L-408 as they happened
    counting = [
        learner.model_copy(update={"counts_from": before}) if learner.id == "trainee-2" else learner
        for learner in reader.roster.trainees
    ]
    reader.roster = reader.roster.model_copy(update={"trainees": counting})
    assert reader.recorded(ON).instance.trainees["trainee-2"].done == 2


def operated(store: Store, reference: str, eye: str, day: datetime.date) -> None:
    case = store.find_case(reference, eye)
    assert case is not None
    store.record_outcome(case.id, day, "trainee-5", "consultant-1", "consultant-1")


def approved_anew(store: Store, rulebook: Rulebook, reference: str, eye: str, **changes: Any) -> None:
    """The case with these findings recorded otherwise, approved as it then is."""
    case = store.find_case(reference, eye)
    assert case is not None
    version = store.save_case(case.id, 1, changes, "trainee-3", seen=store.case_now(case.id).seen)
    read = read_case(dict(version.document), rulebook.vocabulary)
    plan = make_plan(assess(read, rulebook, read_unit(DEMO / "unit.yaml", rulebook), None), rulebook)
    kept = store.keep_snapshot(case.id, version.number, plan_json(plan), "trainee-3")
    tier = plan.assessment.tier.working
    waits = Seen(store.submit(case.id, version.number, kept.id, "trainee-3").id)
    more = {"reason": "read again", "covers": "table", "seen": waits}
    store.approve(case.id, version.number, kept.id, "consultant-1", tier, plan.supervision.mode, **more)


SECOND_EYE = ("L-434", "left")
SECOND = ("L-434", "tue-1-a", "trainee-5", "trainer-1")


def test_an_eye_operated_on_outside_of_the_lists_counts(reader: FromRecords, store: Store, rulebook: Rulebook) -> None:
    assert reader.recorded(ON).instance.cases[SECOND_EYE].fellow is None
    operated(store, "L-433", "right", TUESDAY - datetime.timedelta(days=8))
    held = reader.recorded(ON)
    (broken,) = check(held.instance, placed(held, SECOND)).broken
    assert broken.rule == "first-eye-reviewed" and "L-433, right eye, operated on" in broken.says
    approved_anew(store, rulebook, *SECOND_EYE, first_eye_reviewed_on=(TUESDAY - datetime.timedelta(2)).isoformat())
    held = reader.recorded(ON)
    assert check(held.instance, placed(held, SECOND)).stands
    operated_later = store.outcomes(store.find_case("L-433", "right").id)[-1]  # type: ignore[union-attr]
    store.record_outcome(
        operated_later.case_id, TUESDAY - datetime.timedelta(3), "trainee-5", "consultant-1", corrects=operated_later.id
    )
    held = reader.recorded(ON)
    assert [one.rule for one in check(held.instance, placed(held, SECOND)).broken] == ["between-eyes"]


def test_once_the_second_eye_has_its_place_the_review_is_asked_until_the_day(reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    held.arrange(store, placed(held, SECOND), "organiser-1")
    operated(store, "L-433", "right", TUESDAY - datetime.timedelta(days=8))
    before, on_the_day = reader.recorded(ON), reader.recorded(TUESDAY)
    verdict = check(before.instance, before.lists)
    assert verdict.stands and [one.rule for one in verdict.asked] == ["first-eye-reviewed"]
    assert [one.rule for one in check(on_the_day.instance, on_the_day.lists).broken] == ["first-eye-reviewed"]


def test_an_eye_listed_where_the_sessions_file_knows_nothing_counts(reader: FromRecords, store: Store) -> None:
    first = store.find_case("L-433", "right")
    assert first is not None
    store.allocate(first.id, TUESDAY, "theatre 9", 1, "consultant-1", "organiser-1")
    held = reader.recorded(ON)
    (broken,) = check(held.instance, placed(held, SECOND)).broken
    assert broken.rule == "one-eye-a-day" and "P-733 has L-433, right eye, listed on the same day" in broken.says
    # Gone by, and nobody entered what happened: the days between the eyes count all the same.
    later = reader.recorded(TUESDAY + datetime.timedelta(days=1))
    assert later.instance.cases[SECOND_EYE].fellow == Fellow("L-433, right eye, listed", TUESDAY, False)


def test_what_is_done_is_the_beginning_of_its_list(reader: FromRecords, store: Store) -> None:
    held = reader.recorded(ON)
    lines = (("L-401", "tue-1-a", "trainee-5", "trainer-1"), ("L-402", "tue-1-a", "trainee-5", "trainer-1"))
    held.arrange(store, placed(held, *lines), "organiser-1")
    operated(store, "L-401", "right", TUESDAY)
    held = reader.recorded(TUESDAY)
    assert held.instance.begun == {("L-401", "right")} and check(held.instance, held.lists).stands
    turned = Lists(tuple(replace(placing, place=3 - placing.place) for placing in held.lists.placings))
    assert [one.rule for one in check(held.instance, turned).broken] == ["begun-first"]


def test_both_eyes_agreed_by_the_roster_may_be_on_one_day(reader: FromRecords) -> None:
    lines = (("L-433", "tue-1-a", "trainee-5", "trainer-1"), SECOND)

    def rules() -> set[str]:
        held = reader.recorded(ON)
        return {
            one.rule for one in check(held.instance, replace(held.lists, placings=placed(held, *lines).placings)).broken
        }

    assert "one-eye-a-day" in rules()
    others = [patient for patient in reader.roster.patients if patient.id != "P-733"]
    entered = Patient(id="P-733", both_eyes_agreed=True)
    reader.roster = reader.roster.model_copy(update={"patients": [*others, entered]})
    assert reader.recorded(ON).kept.both_eyes_agreed == {"P-733"} and "one-eye-a-day" not in rules()


def test_two_cases_that_cannot_be_one_patient_s_are_to_be_settled(
    reader: FromRecords, store: Store, rulebook: Rulebook
) -> None:
    approved_anew(store, rulebook, *SECOND_EYE, sex="male")
    held = reader.recorded(ON)
    (broken,) = check(held.instance, placed(held, SECOND)).broken
    assert broken.rule == "settled" and "P-733 is female in L-433 and male in L-434" in broken.says
    assert "P-733 is female" in held.instance.cases[("L-433", "right")].unsettled[-1]


def test_a_theatre_in_other_letters_is_the_same(reader: FromRecords, store: Store) -> None:
    case = store.find_case("L-401", "right")
    assert case is not None
    store.allocate(case.id, TUESDAY, "Theatre  1", 1, "trainer-1", "organiser-1", "trainee-5", "tue-1-a")
    assert [placing.session for placing in reader.recorded(ON).lists.placings] == ["tue-1-a"]
