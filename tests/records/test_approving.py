"""Approval: by a consultant, of one version, both tiers kept, and no longer than what it rests on."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest
from invented_unit import DAY, RULEBOOK, approved, plan, prepared, seen

from planner.assess.assess import assess
from planner.case import read_case
from planner.case_file import case_file
from planner.documents.json_form import plan_json
from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, read_cases
from planner.plan.make import make_plan
from planner.records.approval_validity import approval_standing
from planner.records.deciding import DecidedMeanwhile
from planner.records.rows import ApprovalStanding, Seen, StepChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import ApprovalPolicy

DEMO = Path(__file__).parents[2] / "demo_cases/cases"
OWN = {"tier": 2, "mode": "in-theatre"}
VALID = {"iop_date": 14, "inr_date": 3}


def test_it_waits_until_a_consultant_decides(store: Store) -> None:
    version, snapshot = prepared(store)
    store.submit(version.case_id, 1, snapshot.id, "trainee-3", "no hurry")
    [waiting] = store.waiting()
    assert waiting.state == "submitted" and waiting.submission is not None
    assert (waiting.submission.note, waiting.submission.by) == ("no hurry", "trainee-3")
    approval = store.approve(
        version.case_id, 1, snapshot.id, "consultant-1", 2, "in-theatre", conditions="with dye", seen=waiting.seen
    )
    assert store.waiting() == ()
    assert store.case_now(version.case_id).approval == approval == store.approval(approval.id)
    assert (approval.tier_by_rulebook, approval.tier_approved, approval.own_case) == (2, 2, False)
    assert "approved by consultant-1 for tier 2, on conditions: with dye" in store.notices("trainee-3")[0].text
    [submission] = store.submissions(version.case_id)
    assert submission.ended is not None and submission.ended.kind == "approved"


def test_what_waits_is_in_order_of_tier_then_of_time(store: Store) -> None:
    for reference, tier in {"A-1": 2, "A-2": 4, "A-3": 2}.items():
        version, snapshot = prepared(store, reference, tier)
        store.submit(version.case_id, 1, snapshot.id, "trainee-3")
    assert [now.case.reference for now in store.waiting()] == ["A-2", "A-1", "A-3"]


@pytest.mark.parametrize(
    ("differently", "named"),
    [
        ({"tier": 1}, "tier"),
        ({"tier": 4}, "tier"),
        ({"mode": "on-site"}, "supervision"),
        ({"mode": "scrubbed"}, "supervision"),
        ({"step_changes": (StepChange("hydro", "supervisor"),)}, "steps"),
        ({"tier": 3, "mode": "scrubbed"}, "tier and supervision"),
    ],
)
def test_what_differs_from_the_rulebook_needs_its_reason(
    store: Store, differently: dict[str, object], named: str
) -> None:
    version, snapshot = prepared(store)
    given = (OWN | differently) | {"by": "consultant-1"}
    with pytest.raises(PlannerError, match=f"{named} as approved differ"):
        approved(store, version, snapshot, **given, reason="  ")
    assert store.approvals(version.case_id) == ()
    approval = approved(store, version, snapshot, **given, reason="quiet eye")
    assert (approval.tier_by_rulebook, approval.mode_by_rulebook, approval.reason) == (2, "in-theatre", "quiet eye")
    for name, value in differently.items():
        assert getattr(approval, {"tier": "tier_approved", "mode": "mode_approved"}.get(name, name)) == value


@pytest.mark.parametrize("by", ["trainee-3", "organiser-1", "admin-1", "command-line", "server", "nobody"])
def test_only_a_consultant_approves_sends_back_and_withdraws(store: Store, by: str) -> None:
    version, snapshot = prepared(store)
    store.submit(version.case_id, 1, snapshot.id, "trainee-3")
    with pytest.raises(PlannerError):
        store.approve(version.case_id, 1, snapshot.id, by, 2, "in-theatre", seen=seen(store, version.case_id))
    with pytest.raises(PlannerError):
        store.send_back(version.case_id, 1, "why?", by, seen=seen(store, version.case_id))
    approval = approved(store, version, snapshot)
    if by not in ("command-line", "server"):
        with pytest.raises(PlannerError):
            store.withdraw(approval.id, "seen again", by)


def test_an_inactive_consultant_approves_nothing(store: Store) -> None:
    version, snapshot = prepared(store)
    store.change_person("consultant-1", "admin-1", active=False)
    with pytest.raises(PlannerError, match="nobody who may enter"):
        approved(store, version, snapshot)


def test_a_consultants_own_case_is_another_consultants_to_approve(store: Store) -> None:
    version, snapshot = prepared(store, by="consultant-1")
    with pytest.raises(PlannerError, match="may not approve their own work") as told:
        approved(store, version, snapshot)
    assert "they saved the version that would be approved and entered 4 of its 4 findings" in str(told.value)
    assert "another consultant decides" in str(told.value) and "own_case: yes" in str(told.value)
    assert not approved(store, version, snapshot, "consultant-2").own_case


def test_where_the_unit_allows_it_a_consultants_own_case_is_marked(store: Store) -> None:
    version, snapshot = prepared(store, by="consultant-1")
    assert approved(store, version, snapshot, allowed=ApprovalPolicy(own_case="yes")).own_case  # type: ignore[arg-type]


@pytest.mark.parametrize("hand", ["saved", "entered", "submitted"])
def test_any_hand_in_what_stands_bars_the_consultant(store: Store, hand: str) -> None:
    version, _ = prepared(store)
    case, submitter = version.case_id, "trainee-3"
    if hand == "submitted":
        submitter = "consultant-1"
    else:
        version = store.save_case(case, 1, {"iop_mmhg": 21}, "consultant-1")
    if hand == "entered":
        # The version is the trainee's; a finding in it is the consultant's still.
        version = store.save_case(case, 2, {"age_years": 72}, "trainee-3")
    kept = store.keep_snapshot(case, version.number, plan(), "trainee-3")
    store.submit(case, version.number, kept.id, submitter)
    given = (case, version.number, kept.id)
    with pytest.raises(PlannerError, match=rf"may not approve their own work \(they {hand}"):
        store.approve(*given, "consultant-1", 2, "in-theatre", seen=seen(store, case))
    [fault] = store.may_not_approve(case, "consultant-1")
    assert hand in (fault.why or "") and store.may_not_approve(case, "consultant-2") == ()
    assert store.approve(*given, "consultant-2", 2, "in-theatre", seen=seen(store, case)).by == "consultant-2"


def test_what_a_consultant_entered_and_somebody_measured_again_is_theirs_no_longer(store: Store) -> None:
    version, _ = prepared(store)
    case = version.case_id
    store.save_case(case, 1, {"iop_mmhg": 21}, "consultant-1")
    version = store.save_case(case, 2, {"iop_mmhg": 19}, "trainee-3")
    kept = store.keep_snapshot(case, 3, plan(), "trainee-3")
    assert store.may_not_approve(case, "consultant-1") == ()
    assert approved(store, version, kept).own_case, "they had a hand in it, which the approval says"


@pytest.mark.parametrize("findings", [{}, {"iop_mmhg": "not-recorded"}])
def test_a_case_with_nothing_recorded_is_not_approved(store: Store, findings: dict[str, str]) -> None:
    version = store.new_case({"case": "A-104", "eye": "right", "findings": findings}, "trainee-3")
    kept = store.keep_snapshot(version.case_id, 1, plan(), "trainee-3")
    with pytest.raises(PlannerError, match=r"nothing is recorded of this eye \(an approval would rest on nothing\)"):
        approved(store, version, kept)
    assert approved(store, version, kept, allowed=ApprovalPolicy(nothing_recorded="yes"))  # type: ignore[arg-type]


def test_a_second_approval_supersedes_the_first(store: Store) -> None:
    version, snapshot = prepared(store)
    first = approved(store, version, snapshot)
    given = (version.case_id, 1, snapshot.id, "consultant-2", 3, "scrubbed")
    for other in (Seen(), Seen(approval=first.id + 1), Seen(submission=1)):
        with pytest.raises(PlannerError):
            store.approve(*given, reason="small pupil", seen=other)
    second = store.approve(*given, reason="small pupil", seen=Seen(approval=first.id))
    ended = store.approval(first.id).ended
    assert ended is not None and ended.kind == "superseded"
    assert store.case_now(version.case_id).approval == second
    told = "the approval by consultant-1 for tier 2 is superseded: consultant-2 approved it again, for tier 3"
    assert [told in notice.text for notice in store.notices("consultant-1")] == [True]


def test_an_approval_that_was_not_seen_is_not_superseded(store: Store) -> None:
    """Something else is asked of an approved case; a decision on what is asked says which approval it goes over."""
    version, snapshot = prepared(store)
    first = approved(store, version, snapshot)
    open_now = Seen(approval=first.id)
    asked = store.submit(version.case_id, 1, snapshot.id, "trainee-3", "another operator", seen=open_now)
    given = (version.case_id, 1, snapshot.id, "consultant-2", 3, "scrubbed")
    with pytest.raises(DecidedMeanwhile, match="consultant-1 approved it for tier 2"):
        store.approve(*given, reason="small pupil", seen=Seen(submission=asked.id))
    assert store.approval(first.id).ended is None
    store.approve(*given, reason="small pupil", seen=Seen(asked.id, first.id))


def test_a_version_that_has_gone_by_is_not_approved(store: Store) -> None:
    version, snapshot = prepared(store)
    store.submit(version.case_id, 1, snapshot.id, "trainee-3")
    waiting = seen(store, version.case_id)
    store.save_case(version.case_id, 1, {"inr": 2}, "trainee-3", seen=waiting)
    for number in (1, 2):
        with pytest.raises(DecidedMeanwhile, match="trainee-3 took it back: inr changed by trainee-3: version 2"):
            store.approve(version.case_id, number, snapshot.id, "consultant-1", 2, "in-theatre", seen=waiting)
        with pytest.raises(PlannerError, match=r"changed meanwhile|another version"):
            store.submit(version.case_id, number, snapshot.id, "trainee-3")


def test_sent_back_asked_and_answered(store: Store) -> None:
    version, snapshot = prepared(store)
    case = version.case_id
    with pytest.raises(PlannerError, match="does not wait"):
        store.send_back(case, 1, "why?", "consultant-1", seen=seen(store, case))
    store.submit(case, 1, snapshot.id, "trainee-3")
    question = store.send_back(case, 1, "is the pupil small?", "consultant-1", seen=seen(store, case))
    assert store.case_now(case).state == "sent-back"
    assert "is the pupil small?" in store.notices("trainee-3")[0].text
    store.answer(question.id, "7 mm", "trainee-3")
    assert "7 mm" in store.notices("consultant-1")[0].text
    store.ask(case, "is 2 pm too late?", "organiser-1")
    first, second = store.questions(case)
    assert [answer.text for answer in first.answers] == ["7 mm"] and second.answers == ()
    store.submit(case, 1, snapshot.id, "trainee-3")
    assert store.case_now(case).state == "submitted"


def standing_of(
    store: Store, approval_id: int, on: datetime.date, validity: dict[str, int], sha256: str
) -> ApprovalStanding:
    approval = store.approval(approval_id)
    approved, current = store.version(approval.case_id, approval.version), store.version(approval.case_id).number
    return approval_standing(approval, store.snapshot(approval.snapshot_id), approved, current, on, validity, sha256)


def test_withdrawn_and_lapsed_tell_both_people_and_happen_once(store: Store) -> None:
    version, snapshot = prepared(store)
    for end in ("withdraw", "lapse"):
        approval = approved(store, version, snapshot)
        by = "consultant-2" if end == "withdraw" else "server"
        ended = getattr(store, end)(approval.id, f"to be seen again: {end}", by).ended
        assert ended.kind == {"withdraw": "withdrawn", "lapse": "lapsed"}[end]
        assert all(f"again: {end}" in store.notices(person)[0].text for person in ("trainee-3", "consultant-1"))
        said = f"{by} ended the approval" if end == "withdraw" else "server found the approval lapsed"
        with pytest.raises(DecidedMeanwhile, match=f"{said}: to be seen again: {end}"):
            getattr(store, end)(approval.id, "once more", by)
        standing = standing_of(store, approval.id, DAY, VALID, RULEBOOK)
        assert (standing.state, standing.because) == (ended.kind, (f"to be seen again: {end}",))


@pytest.mark.parametrize(
    ("days", "state"),
    # Measured on 10 November and valid for 14 days: the 24th is the last good day.
    # A day before it, nothing was measured: the date is wrong, and must not hold the longer for it.
    [(0, "stands"), (14, "stands"), (15, "lapsed"), (-1, "lapsed"), (-3650, "lapsed")],
)
def test_a_dated_finding_ages(store: Store, days: int, state: str) -> None:
    version, snapshot = prepared(store)
    approval = approved(store, version, snapshot)
    on = datetime.date(2026, 11, 10) + datetime.timedelta(days)
    standing = standing_of(store, approval.id, on, VALID, RULEBOOK)
    assert standing.state == state
    assert bool(standing.because) == (state == "lapsed")
    assert standing_of(store, approval.id, on, {}, RULEBOOK).state == "stands"
    # A later assessment of the same version changes nothing about what was approved.
    store.keep_snapshot(version.case_id, 1, plan(sha256="e" * 64), "trainee-3")
    now = store.case_now(version.case_id)
    assert now.approval and now.approved_snapshot
    rests_on = now.approval, now.approved_snapshot, now.version, now.version.number
    assert approval_standing(*rests_on, on, VALID, RULEBOOK) == standing


def test_another_rulebook_or_version_makes_it_lapse(store: Store) -> None:
    version, snapshot = prepared(store)
    approval = approved(store, version, snapshot)
    standing = standing_of(store, approval.id, DAY, VALID, "c" * 64)
    assert (standing.state, standing.because) == ("lapsed", ("the rulebook has changed since 0.1.0",))
    standing = approval_standing(approval, snapshot, version, 2, DAY, VALID, RULEBOOK)
    assert standing.state == "lapsed" and "the case has changed" in standing.because[0]
    both = approval_standing(approval, replace(snapshot, rulebook_sha256="d" * 64), version, 2, DAY, VALID, RULEBOOK)
    assert len(both.because) == 2


def test_only_what_is_approved_goes_on_a_list_once(store: Store) -> None:
    version, snapshot = prepared(store)
    case = version.case_id
    where = (DAY, "theatre 2", 1, "consultant-1", "organiser-1")
    with pytest.raises(PlannerError, match="no approval that stands"):
        store.allocate(case, *where, "trainee-3")
    approved(store, version, snapshot)
    place = store.allocate(case, *where, "trainee-3")
    assert [now.case.reference for now in store.list_of(DAY)] == ["A-104"]
    assert store.case_now(case).state == "listed"
    with pytest.raises(PlannerError, match="already"):
        store.allocate(case, DAY, "theatre 3", 2, "consultant-1", "organiser-1")
    other, assessed = prepared(store, "A-105")
    approved(store, other, assessed)
    with pytest.raises(PlannerError, match="place 1 in theatre 2 on 20 November 2026 is taken by A-104, right eye"):
        store.allocate(other.case_id, *where, "trainee-5")
    store.unallocate(place.id, "list full", "organiser-1")
    assert store.list_of(DAY) == () and store.case_now(case).state == "approved"
    store.allocate(other.case_id, *where, "trainee-5")
    with pytest.raises(PlannerError, match="already"):
        store.unallocate(place.id, "again", "organiser-1")
    assert [one.ended is None for one in store.allocations(case)] == [False]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"place": 0}, "no place"),
        ({"theatre": " "}, "is missing"),
        ({"supervisor": "nobody"}, "supervisor: nobody active"),
        ({"trainee": "nobody"}, "trainee: nobody active"),
        ({"trainee": "consultant-1"}, "cannot supervise their own"),
        ({"by": "trainee-3"}, "may not do this"),
    ],
)
def test_a_place_that_cannot_be(store: Store, changed: dict[str, object], said: str) -> None:
    version, snapshot = prepared(store)
    approved(store, version, snapshot)
    good = {"day": DAY, "theatre": "2", "place": 1, "supervisor": "consultant-1", "by": "organiser-1", "trainee": None}
    with pytest.raises(PlannerError, match=said):
        store.allocate(version.case_id, **(good | changed))  # type: ignore[arg-type]


def test_lists_are_in_the_order_of_the_day(store: Store) -> None:
    for number, (day, theatre, place) in enumerate([(1, "2", 2), (0, "2", 1), (1, "1", 2), (1, "1", 1)], 1):
        version, snapshot = prepared(store, f"A-{number}")
        approved(store, version, snapshot)
        on = DAY + datetime.timedelta(day)
        store.allocate(version.case_id, on, theatre, place, "consultant-1", "organiser-1")
    listed = store.lists(DAY, DAY + datetime.timedelta(1))
    assert [now.case.reference for now in listed] == ["A-2", "A-4", "A-3", "A-1"]
    with pytest.raises(PlannerError, match="comes before"):
        store.lists(DAY, DAY - datetime.timedelta(1))


def test_an_outcome_is_corrected_never_replaced(store: Store) -> None:
    version, _ = prepared(store)
    case = version.case_id
    first = store.record_outcome(case, DAY, "trainee-3", "trainee-3", "consultant-1", (), ["iris-prolapse"])
    with pytest.raises(PlannerError, match="has an outcome already"):
        store.record_outcome(case, DAY, "trainee-3", "trainee-3")
    second = store.record_outcome(case, DAY, "consultant-1", "consultant-1", corrects=first.id)
    assert store.outcomes(case) == (first, second)
    assert (first.complications, second.complications, second.corrects) == (("iris-prolapse",), (), first.id)
    with pytest.raises(PlannerError):
        store.record_outcome(case, DAY, "trainee-3", "trainee-3", corrects=first.id)
    with pytest.raises(PlannerError, match="operated by: nobody active"):
        store.record_outcome(case, DAY, "nobody", "trainee-3", corrects=second.id)


def test_a_notice_is_seen_by_whom_it_is_for(store: Store) -> None:
    version, snapshot = prepared(store)
    approved(store, version, snapshot)
    [notice] = store.notices("trainee-3")
    with pytest.raises(PlannerError, match="is for trainee-3"):
        store.see_notice(notice.id, "trainee-5")
    for _ in range(2):
        store.see_notice(notice.id, "trainee-3")
    assert store.notices("trainee-3") == ()
    [seen] = store.notices("trainee-3", unseen_only=False)
    assert seen.seen is not None


def test_names_are_refused_wherever_something_is_written(store: Store) -> None:
    version, snapshot = prepared(store)
    case, name = version.case_id, "Mrs Jane Doe is nervous"
    store.submit(case, 1, snapshot.id, "trainee-3")
    question = store.ask(case, "why?", "consultant-1")
    approval = approved(store, version, snapshot)
    place = store.allocate(case, DAY, "2", 1, "consultant-1", "organiser-1")
    step, now = (StepChange("hydro", "supervisor", name),), seen(store, case)
    for attempt in (
        lambda: store.submit(case, 1, snapshot.id, "trainee-3", name, seen=now),
        lambda: store.ask(case, name, "consultant-1"),
        lambda: store.send_back(case, 1, name, "consultant-1", seen=now),
        lambda: store.answer(question.id, name, "trainee-3"),
        lambda: store.approve(case, 1, snapshot.id, "consultant-1", 2, "in-theatre", conditions=name, seen=now),
        lambda: store.approve(case, 1, snapshot.id, "consultant-1", 2, "in-theatre", reason=name, seen=now),
        lambda: store.approve(case, 1, snapshot.id, "consultant-1", 2, "in-theatre", step, reason="so", seen=now),
        lambda: store.withdraw(approval.id, name, "consultant-1"),
        lambda: store.unallocate(place.id, name, "organiser-1"),
        lambda: store.record_outcome(case, DAY, "trainee-3", "trainee-3", note=name),
        lambda: store.record_outcome(case, DAY, "trainee-3", "trainee-3", complications=[name]),
    ):
        with pytest.raises(PlannerError, match="person's name"):
            attempt()


def test_a_real_plan_is_kept_with_the_tier_and_supervision_it_prints(store: Store, rulebook: Rulebook) -> None:
    [read] = read_cases(str(DEMO / "tense-white.yaml"), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    made = make_plan(assess(read.case, rulebook, None, None), rulebook, None)
    version = store.new_case(case_file(read.case), "trainee-3")
    kept = store.keep_snapshot(version.case_id, 1, plan_json(made), "trainee-3")
    assert made.supervision is not None
    assert (kept.mode, kept.mode_by, kept.stage) == (
        made.supervision.mode,
        made.supervision.by,
        made.supervision.stage,
    )
    tier = made.assessment.tier
    assert (kept.tier_least, kept.tier_working, kept.tier_most) == (tier.least, tier.working, tier.most)
    assert kept.rulebook_sha256 == rulebook.sha256
    assert store.snapshot(kept.id).assessment == plan_json(made)
    # What comes back reads as the same case.
    assert read_case(version.document, rulebook.vocabulary) == read.case
