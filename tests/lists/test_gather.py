"""From a case file to what a list needs of it: the demonstration's pool against what was written into it."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest
from ordinary_eyes import made, read

from planner.assess.assess import assess
from planner.case import Case
from planner.lists.roster.shapes import read_roster
from planner.lists.rules.checker import check
from planner.lists.week.gather import list_case
from planner.lists.week.instance import Instance, ListCase
from planner.lists.week.lists_file import read_lists
from planner.lists.week.overrun import Time
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.truth import Truth
from planner.unit import Unit, read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"


def case(demo: Instance, reference: str) -> ListCase:
    return next(case for case in demo.cases.values() if case.reference == reference)


def planned(case: Case, rulebook: Rulebook, unit: Unit) -> Plan:
    """Its plan for a trainee late in training."""
    return make_plan(assess(case, rulebook, unit, None), rulebook, unit, "late")


def test_minutes_are_the_published_ones(demo: Instance) -> None:
    # Nderitu and Ursell, abstract: consultant 19 (10), senior 24 (10), intermediate 27 (12), junior 30 (11) minutes.
    assert demo.times["consultant"] == Time(19, 10) and demo.times["late"] == Time(24, 10)
    assert demo.times["middle"] == Time(27, 12) and demo.times["early"] == Time(30, 11)
    # Roberts 2018: 19.97 minutes a case with turnover, 10.3 operating.
    assert demo.turnover == pytest.approx(19.97 - 10.3)
    assert "nderitu-ursell-2019" in demo.times_basis and demo.overrun_chance == 0.1


def test_every_duration_has_its_basis(rulebook: Rulebook) -> None:
    durations = rulebook.durations
    # Nderitu and Ursell, abstract: iris hooks 16 minutes more, an expansion ring 6.
    assert {row.device: row.minutes for row in durations.additions} == {"iris-hooks": 16, "pupil-ring": 6}
    published = [*durations.grades, *durations.additions, durations.turnover, durations.shape]
    assert {row.basis.basis for row in published} == {"published"}
    assert {row.basis.basis for row in durations.stands_for} == {durations.overrun.basis.basis} == {"unit-policy"}


def test_a_plain_eye(demo: Instance) -> None:
    plain = case(demo, "L-401")
    assert plain.tier == 1 and plain.unsettled == () and plain.added == ()
    assert (plain.consent, plain.agreement, plain.anaesthetist) == (True, True, False)
    assert plain.with_stage["early"].mode == "scrubbed" and plain.with_stage["early"].whole
    assert plain.with_stage["steps-only"].mode == "consultant-operates" and not plain.with_stage["steps-only"].whole


def test_what_was_written_into_single_eyes(demo: Instance) -> None:
    assert case(demo, "L-403").order == {"latex-first": True, "infection-last": False}
    assert case(demo, "L-440").order["latex-first"] is None
    assert case(demo, "L-408").order["infection-last"] is True
    assert {supervision.mode for supervision in case(demo, "L-405").with_stage.values()} == {"consultant-only"}
    assert case(demo, "L-405").agreement is False and case(demo, "L-418").agreement is None
    assert case(demo, "L-418").unsettled == ()
    assert case(demo, "L-420").consent is None and case(demo, "L-420").unsettled == ()
    assert case(demo, "L-422").anaesthetist is True
    assert "pressure" in case(demo, "L-430").unsettled[0]
    assert case(demo, "L-412").added == (("iris-hooks", 16.0),)
    assert case(demo, "L-410").added == (("pupil-ring", 6.0),)
    # Only eye: tier 4, whoever sits down.
    only = case(demo, "L-416")
    assert only.tier == 4 and {supervision.mode for supervision in only.with_stage.values()} == {"consultant-operates"}


def test_an_eye_until_known_takes_the_hands_that_it_may_need(demo: Instance) -> None:
    """A white lens that nobody has seen behind, beside one whose earlier letter says that no disc was there."""
    unseen, seen_before = case(demo, "L-444"), case(demo, "L-414")
    assert unseen.tier == 4 and {with_.mode for with_ in unseen.with_stage.values()} == {"consultant-operates"}
    assert seen_before.tier == 3 and seen_before.with_stage["late"].mode == "scrubbed"


def test_kit_made_ready_for_what_may_be_found_is_no_set_that_the_session_must_have(rulebook: Rulebook) -> None:
    """Hooks for a small pupil: a set is taken where the pupil is recorded as small, none where it is not recorded."""
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    limits = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook).limits

    def must_have_and_ready(pupil: str) -> tuple[set[str], set[str]]:
        eye = read(made(7), rulebook, dilated_pupil_mm=pupil)
        ready = {item.id for item in planned(eye, rulebook, unit).kit if item.need == "if-found"}
        return set(list_case({"late": planned(eye, rulebook, unit)}, rulebook, limits).kit), ready

    must_have, ready = must_have_and_ready("4.4")
    assert "iris-hooks" in must_have and not ready
    must_have, ready = must_have_and_ready("not-recorded")
    assert "iris-hooks" not in must_have and "capsule-hooks" in ready and not must_have & ready


def test_an_anaesthetist_is_needed_where_one_may_be_and_not_for_a_preference_left_blank(rulebook: Rulebook) -> None:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    limits = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook).limits

    def needed(**findings: str) -> Truth:
        eye = read(made(7), rulebook, **findings)
        return list_case({"late": planned(eye, rulebook, unit)}, rulebook, limits).anaesthetist

    assert needed(anaesthesia_requested="not-recorded") is False
    assert needed(anaesthesia_requested="general") is True
    # Nobody has asked whether the patient can keep still; without a request either the case may need a general.
    assert needed(anaesthesia_requested="not-recorded", keeps_still="not-recorded") is None


def test_deadlines(demo: Instance) -> None:
    assert case(demo, "L-431").last_day == datetime.date(2026, 12, 4)
    assert case(demo, "L-431").why_then == "needed by 4 December 2026"
    # Urgent, recorded on 17 November, within 28 days by the unit's own file.
    assert case(demo, "L-414").last_day == datetime.date(2026, 12, 15)
    assert case(demo, "L-401").last_day is None


def test_waiting_counts_from_listing_and_what_grows_old_is_known(rulebook: Rulebook) -> None:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    limits = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook).limits
    eye = read(made(7), rulebook, urgency="soon", biometry_date="2026-11-05")

    def listed(on: datetime.date | None) -> ListCase:
        dated = replace(eye, recorded_on=datetime.date(2026, 11, 17), listed_on=on)
        return list_case({"late": planned(dated, rulebook, unit)}, rulebook, limits)

    from_listing, from_record = listed(datetime.date(2026, 10, 6)), listed(None)
    assert (from_listing.since, from_listing.listed) == (datetime.date(2026, 10, 6), True)
    assert from_listing.last_day == datetime.date(2026, 12, 1), "56 days, by the unit's own file"
    assert (from_record.since, from_record.listed) == (datetime.date(2026, 11, 17), False)
    assert "(no date of listing)" in from_record.why_then
    ages = {label: (day, holds) for label, day, holds in from_listing.dated}
    assert ages["Date of the biometry"] == (datetime.date(2026, 11, 5), 365)


def test_whom_limits_of_a_session_count(rulebook: Rulebook) -> None:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    limits = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook).limits

    def counted(**findings: str) -> tuple[Truth, Truth]:
        found = list_case({"late": planned(read(made(7), rulebook, **findings), rulebook, unit)}, rulebook, limits)
        return found.general_anaesthetic, found.recovery

    assert counted(anaesthesia_requested="general") == (True, True)
    assert counted(anaesthesia_requested="sub-tenon") == (False, False)
    # It may come to a general anaesthetic, so it counts as one until somebody has asked.
    assert counted(anaesthesia_requested="not-recorded", keeps_still="not-recorded") == (None, None)


def test_stages_and_cleared_steps(demo: Instance) -> None:
    # 330 operations, 30 weeks away: two stages down from late.
    assert demo.trainees["trainee-4"].stage == "early"
    assert demo.trainees["trainee-1"].steps_cleared and demo.trainees["trainee-2"].steps_cleared is None


def test_the_first_week_made_by_hand_stands(demo: Instance) -> None:
    verdict = check(demo, read_lists(DEMO / "lists" / "first-week.yaml", demo))
    assert list(map(str, verdict.broken)) == [] and len(verdict.unplaced) == 38


def test_when_a_patient_can_come_is_as_the_sessions_file_says(demo: Instance) -> None:
    of_patient = {case.patient: case for case in demo.cases.values()}
    assert of_patient["P-703"].away == {datetime.date(2026, 12, 8), datetime.date(2026, 12, 10)}
    assert of_patient["P-721"].not_before == datetime.date(2026, 12, 10)
    assert of_patient["P-704"].away == frozenset() and of_patient["P-704"].not_before is None
