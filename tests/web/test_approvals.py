"""The consultant's pages without scripts: what waits, one case at a glance, every decision and every refusal."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from decisions import entered, form_of, text_of
from pypdf import PdfReader
from visits import Clock, Visit

from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

SignIn = Callable[[str], Visit]


def submitted(store: Store, signed_in: SignIn, rulebook: Rulebook, name: str, by: str = "trainee-3") -> str:
    """The case submitted in the browser; its approval page."""
    case = store.case(entered(store, rulebook, name, by))
    visit, plan = signed_in(by), f"/cases/{case.reference}/{case.eye}/plan"
    answer = visit.post(f"/cases/{case.reference}/{case.eye}/submit", data={"token": visit.token(plan), "version": "1"})
    assert answer.status_code == 303
    return f"/approvals/{case.reference}/{case.eye}"


@pytest.fixture
def consultant(signed_in: SignIn) -> Visit:
    return signed_in("consultant-1")


def test_what_waits_is_in_order_of_urgency_then_day_then_tier(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    for name in ("routine", "tense-white", "shallow-chamber"):
        submitted(store, signed_in, rulebook, name)
    page = consultant.get("/approvals").text
    shown = re.findall(r'EYE</span> (H-\d+)</a></th>\s*<td data-label="Tier"><span class="cell"><strong>(\d)', page)
    order = [(now.version.findings.get("urgency"), now.version.findings.get("needed_by")) for now in store.waiting()]
    assert len(shown) == len(order) == 3
    if len(set(order)) == 1:
        assert [tier for _, tier in shown] == sorted((tier for _, tier in shown), reverse=True)
    # An urgent routine eye comes before a hard one that can wait.
    [routine] = store.cases(reference="H-101")
    store.save_case(routine.case.id, 1, {"urgency": "urgent"}, "trainee-3")
    visit = signed_in("trainee-3")
    plan = f"/cases/H-101/{routine.case.eye}/plan"
    visit.post(plan.replace("/plan", "/submit"), data={"token": visit.token(plan), "version": "2"})
    assert re.search(r"EYE</span> (H-\d+)</a>", consultant.get("/approvals").text)[1] == "H-101"  # type: ignore[index]


def test_at_a_glance_each_factor_has_its_measured_value_its_limit_and_what_it_counts(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "tense-white")
    page = text_of(consultant.get(path))
    factor = rulebook.factors["tense-white-lens"]
    finding = rulebook.vocabulary.by_id["cortex"]
    assert factor.label in page and f"{finding.label}: {finding.values['tense-fluid']}" in page
    assert f"tier {factor.floor.tier if factor.floor else 0} at least" in page
    assert "Holds when: cortex of the white lens is fluid under tension" in page
    assert "LEFT EYE" in page or "RIGHT EYE" in page


def test_what_is_not_recorded_shows_as_may_hold_and_never_as_a_value(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "white-cortex-not-recorded")
    page = text_of(consultant.get(path))
    assert re.search(r"Tense white lens[^.]*may hold", page)
    assert "Cortex of the white lens: not recorded" in page


def test_approved_as_planned_with_conditions_prints_on_page_and_pdf(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    fields = form_of(consultant, path, "Approve as named, tier") | {"conditions": "pressure below 21 on the day"}
    assert consultant.post(path, data=fields).headers["location"] == path
    page = text_of(consultant.get(path))
    assert "Tier 1 approved by consultant-1" in page and "It stands." in page
    assert "On condition: pressure below 21 on the day" in page
    plan = path.replace("/approvals/", "/cases/")
    printed = text_of(consultant.get(f"{plan}/plan.html"))
    assert "Person 1" in printed and "pressure below 21 on the day" in printed
    text = " ".join(PdfReader(io.BytesIO(consultant.get(f"{plan}/plan.pdf").content)).pages[0].extract_text().split())
    assert "Person 1" in text and "pressure below 21 on the day" in text
    assert "was approved by consultant-1 for tier 1" in text_of(signed_in("trainee-3").get("/notices"))


def test_a_consultants_own_case_is_approved_as_such(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine", by="consultant-1")
    assert "(yourself)" in text_of(consultant.get("/approvals"))
    assert "You worked on this case yourself" in text_of(consultant.get(path))
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    for page in (path, path.replace("/approvals/", "/cases/") + "/plan.html"):
        assert "Approved by whoever had a hand in preparing it." in text_of(consultant.get(page))


def test_another_tier_needs_a_reason_keeps_both_and_brings_its_supervision(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    fields = form_of(consultant, f"{path}?tier=4", "Approve as changed")
    assert fields["mode"] == "consultant-operates"
    refused = consultant.post(path, data=fields | {"reason": " "})
    assert refused.status_code == 422 and "no reason is given" in text_of(refused)
    assert store.find_case("H-101", path.rsplit("/", 1)[1]) is not None and len(store.waiting()) == 1
    assert consultant.post(path, data=fields | {"reason": "the fellow eye bled"}).status_code == 303
    [now] = store.cases(reference="H-101")
    assert now.approval is not None
    assert (now.approval.tier_by_rulebook, now.approval.tier_approved) == (1, 4)
    plan = path.replace("/approvals/", "/cases/")
    printed = text_of(consultant.get(f"{plan}/plan.html"))
    assert "Tier 4" in printed and "by the rulebook tier 1" in printed and "The fellow eye bled" in printed
    assert "Consultant operates" in printed
    for visit in (consultant, signed_in("trainee-3"), signed_in("organiser-1")):
        page = text_of(visit.get(f"{plan}/plan"))
        assert "4, as approved." in page and "By the rulebook 1" in page
        assert "Capsule opening (capsulorhexis): supervisor" in page
        assert "4 approved, rulebook 1" in text_of(visit.get("/cases?whose=all"))


def test_both_readings_stand_wherever_the_tier_does(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    """A white lens whose cortex is not recorded: tier 2 on record, 3 for the fluid that may be there."""
    path = submitted(store, signed_in, rulebook, "white-cortex-not-recorded")
    both = "3 until known, 2 on record"
    case = path.replace("/approvals/", "/cases/")
    for at in ("/approvals", path, case, f"{case}/plan", "/cases?whose=all"):
        assert both in text_of(consultant.get(at)), at
    for at in (path, case):
        page = text_of(consultant.get(at))
        assert "Not recorded: where to look" in page and "Slit lamp and fundus after dilating" in page


def test_a_step_taken_from_the_trainee_shows_wherever_the_plan_does(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    fields = form_of(consultant, f"{path}?tier=1", "Approve as changed")
    assert fields["who.nucleus"] == "trainee"
    sent = fields | {"who.nucleus": "supervisor", "reason": "no chop yet"}
    assert consultant.post(path, data=sent).status_code == 303
    [now] = store.cases(reference="H-101")
    assert now.approval is not None and [(s.step, s.who) for s in now.approval.step_changes] == [
        ("nucleus", "supervisor")
    ]
    nucleus = next(step.label for step in rulebook.steps if step.id == "nucleus")
    printed = text_of(consultant.get(path.replace("/approvals/", "/cases/") + "/plan.html"))
    assert (
        f"{nucleus} SUPERVISOR" in printed
        and f"To the supervisor instead: {nucleus[:1].lower()}{nucleus[1:]}" in printed
    )
    assert f"{nucleus}: supervisor" in text_of(consultant.get(path))


def test_a_patient_who_refused_a_trainee_is_not_overruled(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    case = store.case(entered(store, rulebook, "routine"))
    store.save_case(case.id, 1, {"trainee_involvement_agreed": "no"}, "trainee-3")
    visit, path = signed_in("trainee-3"), f"/approvals/{case.reference}/{case.eye}"
    plan = path.replace("/approvals/", "/cases/")
    visit.post(f"{plan}/submit", data={"token": visit.token(f"{plan}/plan"), "version": "2"})
    fields = form_of(consultant, f"{path}?tier=1", "Approve as changed")
    sent = fields | {"mode": "scrubbed", "who.hydro": "trainee", "reason": "an easy eye"}
    answer = consultant.post(path, data=sent)
    assert answer.status_code == 422 and "has not agreed to a trainee" in text_of(answer)
    assert "an easy eye" in answer.text and store.cases(state="approved") == ()
    assert consultant.post(path, data=form_of(consultant, path, "Approve as named, tier")).status_code == 303


@pytest.mark.parametrize("action", ["", "/send-back"])
def test_nothing_is_decided_on_what_was_not_seen(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit, action: str
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    button = "Send back" if action else "Approve as named, tier"
    fields = form_of(consultant, path, button) | {"text": "is it soft?", "conditions": "dye in the room"}
    [now] = store.waiting()
    store.save_case(now.case.id, 1, {"anterior_chamber_depth_mm": 1.9, "posterior_polar_opacity": "yes"}, "trainee-5")
    answer = consultant.post(path + action, data=fields)
    page = text_of(answer)
    assert answer.status_code == 409 and "the case has a newer version" in page
    depth = rulebook.vocabulary.by_id["anterior_chamber_depth_mm"].label
    assert re.search(rf"{depth} [\d.]+ mm → 1.9 mm", page) and "Tier: 1 → 4" in page
    assert ("is it soft?" if action else "dye in the room") in page
    assert store.cases(state="approved") == () and store.questions(now.case.id) == ()


def test_a_form_with_another_plan_than_the_one_shown_is_refused(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    fields = form_of(consultant, path, "Approve as named, tier")
    for seen in ("", "0" * 64, fields["seen"][:-1]):
        assert consultant.post(path, data=fields | {"seen": seen}).status_code == 409
    assert store.cases(state="approved") == ()


def test_two_consultants_decide_once(store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit) -> None:
    store.add_person("consultant-2", "Person 2", "consultant", "command-line")
    store.set_password_hash("consultant-2", store.password_hash("consultant-1") or "", "command-line")
    path = submitted(store, signed_in, rulebook, "routine")
    other = signed_in("consultant-2")
    mine, theirs = form_of(consultant, path, "Approve as named, tier"), form_of(other, path, "Send back")
    assert consultant.post(path, data=mine).status_code == 303
    assert other.post(f"{path}/send-back", data=theirs | {"text": "how soft?"}).status_code in (409, 422)
    assert other.post(path, data=theirs).status_code in (409, 422)
    [now] = store.cases(state="approved")
    assert now.approval is not None and now.approval.by == "consultant-1"


def test_a_question_goes_to_the_trainee_who_answers_and_submits_again(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    fields = form_of(consultant, path, "Send back")
    assert consultant.post(f"{path}/send-back", data=fields | {"text": ""}).status_code == 422
    assert consultant.post(f"{path}/send-back", data=fields | {"text": "how soft is it?"}).status_code == 303
    assert "Your question" in text_of(consultant.get("/approvals")) and "Not answered." in text_of(
        consultant.get("/approvals")
    )
    trainee, plan = signed_in("trainee-3"), path.replace("/approvals/", "/cases/")
    assert "how soft is it?" in text_of(trainee.get("/notices"))
    assert re.search(r"<strong>\d+ notices?</strong>", trainee.get("/cases").text)
    question = re.search(r'name="question" value="(\d+)"', trainee.get(f"{plan}/plan").text)
    assert question
    token = trainee.token(f"{plan}/plan")
    trainee.post(f"{plan}/answer", data={"token": token, "question": question[1], "text": "soft"})
    trainee.post(f"{plan}/submit", data={"token": token, "version": "1"})
    page = text_of(consultant.get("/approvals"))
    assert "You asked: how soft is it? Answered." in page
    assert "trainee-3 answers: soft" in text_of(consultant.get("/notices"))


def test_a_changed_finding_withdraws_and_tells_both(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    [now] = store.cases(state="approved")
    store.save_case(now.case.id, 1, {"iop_mmhg": 31}, "trainee-5")
    for person in ("trainee-3", "consultant-1"):
        assert "is withdrawn" in text_of(signed_in(person).get("/notices"))
    page = text_of(consultant.get(path))
    assert "withdrawn" in page and "Tier 1 by consultant-1" in page
    plan = path.replace("/approvals/", "/cases/")
    assert "Person 1" not in text_of(consultant.get(f"{plan}/plan.html"))


def test_a_form_that_was_open_before_the_approval_does_not_save_itself_over_it(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    visit, form = signed_in("trainee-5"), path.replace("/approvals/", "/cases/")
    typed = {"token": visit.token(form), "based_on": "1", "section": "pressure-and-chamber", "f.iop_mmhg": "31"}
    by_itself = visit.post(form, data=typed, headers={"HX-Request": "true"})
    assert by_itself.status_code == 400
    assert "It is approved. Saving a change withdraws that approval" in text_of(by_itself)
    assert len(store.cases(state="approved")) == 1
    # The same by the button, which the form shows beside that warning, is what its person asked for.
    assert visit.post(form, data=typed).status_code == 303
    assert store.cases(state="approved") == ()


def test_an_approval_lapses_with_what_it_rests_on_and_no_longer_prints(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit, clock: Clock
) -> None:
    case = store.case(entered(store, rulebook, "routine"))
    visit, plan = signed_in("trainee-3"), f"/cases/{case.reference}/{case.eye}"
    visit.post(f"{plan}/submit", data={"token": visit.token(f"{plan}/plan"), "version": "1"})
    path = plan.replace("/cases/", "/approvals/")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    days = rulebook.vocabulary.by_id["iop_date"].valid_days
    assert days is not None
    clock.forward(days=days)
    consultant = signed_in("consultant-1")
    assert "Stands" in text_of(consultant.get("/approvals"))
    clock.forward(days=1)
    consultant = signed_in("consultant-1")
    assert "It has lapsed: Date of the pressure" in text_of(consultant.get(path))
    assert "Person 1" not in text_of(consultant.get(f"{plan}/plan.html"))
    # The table enters it, and both hear of it.
    assert "Stands" not in text_of(consultant.get("/approvals"))
    assert "is lapsed: Date of the pressure" in text_of(consultant.get("/notices"))
    assert "is lapsed" in text_of(signed_in("trainee-3").get("/notices"))
    assert [given.ended.kind for given in store.approvals(case.id) if given.ended] == ["lapsed"]


def test_what_has_aged_already_is_said_before_it_is_approved(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit, clock: Clock
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    assert "would lapse at once" not in text_of(consultant.get(path))
    clock.forward(days=800)
    consultant = signed_in("consultant-1")
    assert "An approval would lapse at once. Date of the pressure: it held until" in text_of(consultant.get(path))
    # It is the consultant's to decide all the same, and is shown for what it is.
    assert consultant.post(path, data=form_of(consultant, path, "Approve as named, tier")).status_code == 303
    assert "It has lapsed: Date of the pressure" in text_of(consultant.get(path))


def test_a_date_later_than_today_holds_no_approval_up(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    case = store.case(entered(store, rulebook, "routine"))
    # From a file; the form would have refused it.
    store.save_case(case.id, 1, {"iop_date": "9999-12-31"}, "trainee-3")
    visit, plan = signed_in("trainee-3"), f"/cases/{case.reference}/{case.eye}"
    visit.post(f"{plan}/submit", data={"token": visit.token(f"{plan}/plan"), "version": "2"})
    path = plan.replace("/cases/", "/approvals/")
    page = text_of(consultant.get(path))
    assert "would lapse at once" in page and "Date of the pressure: later than today" in page
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    assert "It has lapsed: Date of the pressure 9999-12-31 is later than" in text_of(consultant.get(path))
    assert "Person 1" not in text_of(consultant.get(f"{plan}/plan.html"))


def test_withdrawn_by_hand_with_a_reason(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    fields = form_of(consultant, path, "Withdraw")
    assert consultant.post(f"{path}/withdraw", data=fields).status_code == 422
    assert consultant.post(f"{path}/withdraw", data=fields | {"why": "to be seen again"}).status_code == 303
    assert store.cases(state="approved") == () and "to be seen again" in text_of(consultant.get(path))
    assert consultant.post(f"{path}/withdraw", data=fields | {"why": "once more"}).status_code == 409


@pytest.mark.parametrize(
    ("field", "text", "why"),
    [("conditions", "ask Jane Archer first", "person's name"), ("conditions", "x" * 201, "200 letters")],
)
def test_what_cannot_be_kept_or_printed_is_refused_and_not_lost(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit, field: str, text: str, why: str
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    answer = consultant.post(path, data=form_of(consultant, path, "Approve as named, tier") | {field: text})
    assert answer.status_code == 422 and why in text_of(answer) and text in answer.text
    assert store.cases(state="approved") == ()


def test_a_notice_is_seen_by_whom_it_is_for(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    [notice] = store.notices("trainee-3")
    stranger, trainee = signed_in("trainee-5"), signed_in("trainee-3")
    sent = {"notice": str(notice.id)}
    assert stranger.post("/notices/seen", data=sent | {"token": stranger.token("/notices")}).status_code == 404
    assert trainee.post("/notices/seen", data=sent | {"token": trainee.token("/notices")}).status_code == 303
    assert store.notices("trainee-3") == () and "Nothing new." in text_of(trainee.get("/notices"))
    assert "Seen before" in text_of(trainee.get("/notices"))
