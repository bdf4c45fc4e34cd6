"""The list of cases, a new case, the plan page and submitting."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from decisions import case_form_of
from pypdf import PdfReader
from visits import Clock, Visit

from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

SignIn = Callable[[str], Visit]


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def enter(visit: Visit, **fields: str) -> Any:
    return visit.post("/cases/new", data={"token": visit.token(), "case": "A-104", "eye": "left", **fields})


def test_a_new_case_leads_to_its_form_and_is_stamped(signed_in: SignIn, store: Store) -> None:
    answer = enter(signed_in("trainee-3"), patient="P-0381", planned_stage="middle")
    assert (answer.status_code, answer.headers["location"]) == (303, "/cases/A-104/left")
    case = store.find_case("A-104", "left")
    assert case is not None
    document = store.version(case.id).document
    assert document["examined_by"] == "trainee-3" and re.fullmatch(r"\d{4}-\d\d-\d\d", document["recorded_on"])
    assert document["planned_stage"] == "middle" and "findings" in document


def test_an_eye_is_entered_once_and_the_other_eye_is_another_case(signed_in: SignIn) -> None:
    visit = signed_in("trainee-3")
    assert enter(visit).status_code == 303
    again = enter(visit)
    assert again.status_code == 422 and "is here already" in text_of(again)
    assert enter(visit, eye="right").status_code == 303


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("case", "", "must name its case"),
        ("case", "Jane Archer", "it could be somebody's name"),
        ("case", "Archer 12/03/1951", "date of birth"),
        ("case", "943 476 5919", "health-service number"),
        ("patient", "Mr A. Archer 7", "name"),
        ("eye", "", "could be used on the wrong eye"),
        ("eye", "both", "could be used on the wrong eye"),
    ],
)
def test_what_would_say_who_the_patient_is_is_refused_with_the_reason(
    signed_in: SignIn, store: Store, field: str, value: str, why: str
) -> None:
    answer = enter(signed_in("trainee-3"), **{field: value})
    assert answer.status_code == 422 and why in text_of(answer) and "Not entered" in text_of(answer)
    assert store.cases() == ()


def test_a_reference_with_a_slash_has_its_pages(signed_in: SignIn) -> None:
    visit = signed_in("trainee-3")
    address = enter(visit, case="2026/104 b").headers["location"]
    assert "2026/104 b" in text_of(visit.get(address)) and visit.get(address + "/plan").status_code == 200


def test_a_reference_typed_with_two_blanks_is_entered(signed_in: SignIn, store: Store) -> None:
    """Before: the case was saved under one blank, looked for under two, and the page was an error of the server."""
    visit = signed_in("trainee-3")
    answer = enter(visit, case="L  7")
    assert answer.status_code == 303 and visit.get(answer.headers["location"]).status_code == 200
    assert [now.case.reference for now in store.cases()] == ["L 7"]


def test_cases_stand_by_urgency_and_unknown_urgency_before_routine(signed_in: SignIn, store: Store) -> None:
    for reference, found in (
        ("A-1", {"urgency": "routine"}),
        ("A-2", {}),
        ("A-3", {"urgency": "urgent"}),
        ("A-4", {"urgency": "soon", "needed_by": "2026-12-20"}),
        ("A-5", {"urgency": "soon", "needed_by": "2026-12-01"}),
    ):
        store.new_case({"case": reference, "eye": "right", "findings": found}, "trainee-5")
    visit = signed_in("trainee-3")
    assert "You have prepared no case yet" in text_of(visit.get("/cases"))
    shown = visit.get("/cases?whose=all")
    assert re.findall(r"/cases/(A-\d)/right", shown.text) == ["A-3", "A-5", "A-4", "A-2", "A-1"]
    assert re.findall(r"/cases/(A-\d)/right", visit.get("/cases?whose=all&q=a-4").text) == ["A-4"]


def test_submitting_keeps_what_was_judged_and_shows_that_it_waits(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = enter(visit).headers["location"]
    sent = {"token": visit.token(address), "version": "1", "note": "first case of this kind"}
    assert visit.post(address + "/submit", data=sent).status_code == 303
    (waits,) = store.waiting()
    assert waits.snapshot is not None and waits.submission is not None
    assert waits.submission.note == "first case of this kind" and waits.snapshot.tier_working == 4
    assert "Waits for approval" in text_of(visit.get(address + "/plan"))
    assert "Saving a change takes it back" in text_of(visit.get(address))
    # With a consultant's time at stake nothing is saved by itself.
    assert "hx-post" not in visit.get(address).text


def test_what_changed_since_the_page_was_opened_is_not_submitted(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = enter(visit).headers["location"]
    case = store.find_case("A-104", "left")
    assert case is not None
    store.save_case(case.id, 1, {"age_years": 80}, "consultant-1")
    answer = visit.post(address + "/submit", data={"token": visit.token(address), "version": "1"})
    assert answer.status_code == 422 and "consultant-1 saved this case" in text_of(answer) and store.waiting() == ()


def test_a_name_in_the_note_is_refused_and_the_note_is_kept(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = enter(visit).headers["location"]
    sent = {"token": visit.token(address), "version": "1", "note": "Mrs Archer is deaf"}
    answer = visit.post(address + "/submit", data=sent)
    assert answer.status_code == 422 and "name" in text_of(answer) and "Mrs Archer is deaf</textarea>" in answer.text
    assert store.waiting() == ()


def test_a_question_is_shown_and_answered(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = enter(visit).headers["location"]
    visit.post(address + "/submit", data={"token": visit.token(address), "version": "1"})
    (waits,) = store.waiting()
    store.send_back(waits.case.id, 1, "which pupil size?", "consultant-1", seen=waits.seen)
    assert "Question to answer" in text_of(visit.get("/cases"))
    page = visit.get(address + "/plan")
    number = re.search(r'name="question" value="(\d+)"', page.text)
    assert "which pupil size?" in text_of(page) and number
    sent = {"token": visit.token(address), "question": number[1], "text": "6 mm after drops"}
    assert visit.post(address + "/answer", data=sent).status_code == 303
    assert "6 mm after drops" in text_of(visit.get(address + "/plan"))
    assert visit.post(address + "/answer", data={**sent, "question": "999"}).status_code == 404


def test_the_plan_is_read_and_printed(signed_in: SignIn, store: Store) -> None:
    store.new_case({"case": "A-104", "eye": "left", "findings": {"opacity": "total-white"}}, "trainee-3")
    visit = signed_in("organiser-1")
    assert "LEFT EYE" in text_of(visit.get("/cases/A-104/left/plan.html"))
    answer = visit.get("/cases/A-104/left/plan.pdf")
    assert (
        answer.headers["content-type"] == "application/pdf"
        and "A-104-left.pdf" in answer.headers["content-disposition"]
    )
    assert "LEFT EYE" in PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    # The organiser reads the plan and cannot open the form.
    assert "/plan" in visit.get("/cases").text and visit.get("/cases/A-104/left").status_code == 403


def approve(visit: Visit, store: Store, **findings: str) -> str:
    address = str(enter(visit).headers["location"])
    case = store.find_case("A-104", "left")
    assert case is not None
    number = store.save_case(case.id, 1, {"age_years": 71} | findings, "trainee-3").number
    visit.post(address + "/submit", data={"token": visit.token(address), "version": str(number)})
    (waits,) = store.waiting()
    assert waits.snapshot is not None
    store.approve(
        waits.case.id, number, waits.snapshot.id, "consultant-1",
        tier=waits.snapshot.tier_working, mode=waits.snapshot.mode, conditions="theatre 2 only", seen=waits.seen,
    )  # fmt: skip
    return address


def test_an_approval_prints_by_name_and_time_on_the_plan(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = approve(visit, store)
    assert "Approved by consultant-1" in text_of(visit.get(address + "/plan"))
    shown = text_of(visit.get(address + "/plan.html"))
    assert "Person 1" in shown and "theatre 2 only" in shown


def test_an_approval_lapses_when_what_it_rests_on_has_aged(
    signed_in: SignIn, store: Store, clock: Clock, rulebook: Rulebook
) -> None:
    today = clock().date().isoformat()
    address = approve(signed_in("trainee-3"), store, iop_mmhg="18", iop_date=today)
    days = rulebook.vocabulary.validity({"iop_mmhg"})["iop_date"]
    clock.forward(days=days)
    assert "Approved by consultant-1" in text_of(signed_in("trainee-3").get(address + "/plan"))
    clock.forward(days=2)
    visit = signed_in("trainee-3")
    assert "Approval lapsed" in text_of(visit.get("/cases"))
    page = text_of(visit.get(address + "/plan"))
    assert f"holds for {days}" in page and "Submit for approval" in page
    assert "Person 1" not in text_of(visit.get(address + "/plan.html"))


def test_a_change_to_an_approved_case_withdraws_the_approval_and_warns_before(signed_in: SignIn, store: Store) -> None:
    visit = signed_in("trainee-3")
    address = approve(visit, store)
    assert "Saving a change withdraws that approval" in text_of(visit.get(address))
    sent = case_form_of(visit, address) | {"section": "patient", "f.age_years": "80"}
    assert visit.post(address, data=sent).status_code == 303
    assert "Draft" in text_of(visit.get(address + "/plan")) and store.notices("consultant-1") != ()
