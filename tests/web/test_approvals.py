"""The consultant's pages without scripts: what waits, one case at a glance, every decision and every refusal."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from decisions import case_form_of, entered, form_of, text_of
from pypdf import PdfReader
from served import UNIT
from visits import CHEAP, Clock, Visit

from planner.desk.desk import Desk
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import ApprovalPolicy, read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

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
    store.save_case(routine.case.id, 1, {"urgency": "urgent"}, "trainee-3", seen=routine.seen)
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
    assert "Tier 1 approved by consultant-1" in page and "The approval is valid." in page
    assert "On condition: pressure below 21 on the day" in page
    plan = path.replace("/approvals/", "/cases/")
    printed = text_of(consultant.get(f"{plan}/plan.html"))
    assert "Person 1" in printed and "pressure below 21 on the day" in printed
    text = " ".join(PdfReader(io.BytesIO(consultant.get(f"{plan}/plan.pdf").content)).pages[0].extract_text().split())
    assert "Person 1" in text and "pressure below 21 on the day" in text
    assert "was approved by consultant-1 for tier 1" in text_of(signed_in("trainee-3").get("/notices"))


def test_a_consultants_own_case_is_another_consultants_to_approve(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine", by="consultant-1")
    assert "(yourself)" in text_of(consultant.get("/approvals"))
    page = text_of(consultant.get(path))
    assert "You cannot approve this case" in page and "another consultant decides" in page
    assert "saved the version that would be approved" in page and "Approve as named, tier" not in page
    # Whoever sends the form all the same is told the same, and another consultant decides.
    other = signed_in("consultant-2")
    sent = form_of(other, path, "Approve as named, tier")
    own = consultant.post(path, data=sent | {"token": consultant.token(path)})
    assert own.status_code == 422 and "consultant-1 may not approve their own work" in text_of(own)
    assert store.cases(state="approved") == ()
    assert other.post(path, data=sent).status_code == 303
    assert "had a hand in preparing it" not in text_of(consultant.get(path))


def test_where_the_unit_allows_it_a_consultants_own_case_is_approved_as_such(
    store: Store, rulebook: Rulebook, clock: Clock
) -> None:
    unit = read_unit(UNIT, rulebook)
    allows = unit.model_copy(update={"approvals": ApprovalPolicy.model_validate({"own_case": "yes"})})
    app = make_app(
        Desk(store, rulebook, allows, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
    )

    def signed_in(code: str) -> Visit:
        visit = Visit(app)
        assert visit.sign_in(code) == 303
        return visit

    path = submitted(store, signed_in, rulebook, "routine", by="consultant-1")
    consultant = signed_in("consultant-1")
    assert "You worked on this case yourself" in text_of(consultant.get(path))
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    for page in (path, path.replace("/approvals/", "/cases/") + "/plan.html"):
        assert "Approved by whoever had a hand in preparing it." in text_of(consultant.get(page))


def test_a_case_with_nothing_recorded_is_not_approved_and_the_page_says_so(
    store: Store, signed_in: SignIn, consultant: Visit
) -> None:
    store.new_case({"case": "A-104", "eye": "left"}, "trainee-3")
    visit, plan = signed_in("trainee-3"), "/cases/A-104/left"
    visit.post(f"{plan}/submit", data={"token": visit.token(f"{plan}/plan"), "version": "1"})
    path = "/approvals/A-104/left"
    page = text_of(consultant.get(path))
    assert "nothing is recorded of this eye" in page and "Approve as named, tier" not in page
    # It is sent back all the same.
    sent = form_of(consultant, path, "Send back") | {"text": "examine it first"}
    assert consultant.post(path, data=sent).status_code == 422
    assert consultant.post(f"{path}/send-back", data=sent).status_code == 303


def test_a_consultant_who_thinks_again_supersedes_and_the_other_is_told(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path, other = submitted(store, signed_in, rulebook, "routine"), signed_in("consultant-2")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    mine, theirs = (form_of(visit, f"{path}?tier=2", "Approve as changed") for visit in (consultant, other))
    assert "It takes the place of the approval by consultant-1" in text_of(other.get(path))
    assert other.post(path, data=theirs | {"reason": "a small pupil"}).status_code == 303
    assert "consultant-2 approved it again, for tier 2" in text_of(consultant.get("/notices"))
    late = consultant.post(path, data=mine | {"reason": "no chop yet"})
    assert late.status_code == 409 and "consultant-2 approved it for tier 2" in text_of(late)
    assert "no chop yet" in late.text
    fields = form_of(other, path, "Withdraw")
    assert consultant.post(f"{path}/withdraw", data=fields | {"token": mine["token"], "why": "so"}).status_code == 303
    assert "consultant-1 ended the approval: so" in text_of(other.post(f"{path}/withdraw", data=fields | {"why": "my"}))


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
    found = {"anterior_chamber_depth_mm": 1.9, "posterior_polar_opacity": "yes"}
    store.save_case(now.case.id, 1, found, "consultant-2", seen=now.seen)
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
    path = submitted(store, signed_in, rulebook, "routine")
    other = signed_in("consultant-2")
    mine, theirs = form_of(consultant, path, "Approve as named, tier"), form_of(other, path, "Send back")
    assert consultant.post(path, data=mine).status_code == 303
    assert other.post(f"{path}/send-back", data=theirs | {"text": "how soft?"}).status_code == 409
    late = other.post(path, data=theirs | {"tier": "2", "mode": "scrubbed", "reason": "soft", "conditions": "dye"})
    page = text_of(late)
    assert late.status_code == 409
    assert re.search(r"consultant-1 approved it for tier 1 \(\d+ \w+ \d{4}, \d\d:\d\d\)", page)
    assert all(kept in page for kept in ("Tier 2", rulebook.supervision.modes["scrubbed"], "soft", "dye"))
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
    store.save_case(now.case.id, 1, {"iop_mmhg": 31}, "trainee-3", seen=now.seen)
    for person in ("trainee-3", "consultant-1"):
        assert "is withdrawn" in text_of(signed_in(person).get("/notices"))
    page = text_of(consultant.get(path))
    assert "withdrawn" in page and "Tier 1 by consultant-1" in page
    plan = path.replace("/approvals/", "/cases/")
    assert "Person 1" not in text_of(consultant.get(f"{plan}/plan.html"))


def test_a_form_that_was_open_before_the_approval_saves_nothing_over_it_unseen(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    visit, form = signed_in("trainee-3"), path.replace("/approvals/", "/cases/")
    waiting = case_form_of(visit, form)
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    typed = waiting | {"section": "pressure-and-chamber", "f.iop_mmhg": "31", "f.axial_length_mm": "far"}
    by_itself = visit.post(form, data=typed, headers={"HX-Request": "true"})
    assert by_itself.status_code == 409 and "consultant-1 approved it for tier 1" in text_of(by_itself)
    assert 'hx-swap-oob="outerHTML"' in by_itself.text and "<html" not in by_itself.text
    # By the button: who approved it and when, what was typed, and the same once more for whoever means it.
    answer = visit.post(form, data=typed)
    page = text_of(answer)
    assert answer.status_code == 409 and "consultant-1 approved it for tier 1" in page
    pressure = rulebook.vocabulary.by_id["iop_mmhg"]
    assert f"{pressure.label} {pressure.shown(31.0)}" in page and "far" in page
    assert "Saving a change withdraws that approval" in page and len(store.cases(state="approved")) == 1
    again = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text))
    assert visit.post(form, data=again).status_code == 422, "what could not be read is still to be put right"
    assert store.cases(state="approved") == ()
    [now] = store.cases(reference="H-101")
    assert now.version.findings["iop_mmhg"] == 31


def test_the_form_of_an_approved_case_says_first_what_saving_ends(
    store: Store, signed_in: SignIn, rulebook: Rulebook, consultant: Visit
) -> None:
    path = submitted(store, signed_in, rulebook, "routine")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    visit, form = signed_in("trainee-3"), path.replace("/approvals/", "/cases/")
    assert "It is approved. Saving a change withdraws that approval" in text_of(visit.get(form))
    typed = case_form_of(visit, form) | {"section": "pressure-and-chamber", "f.iop_mmhg": "31"}
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
    assert "It has lapsed: Date of the pressure 31 December 9999 is later than" in text_of(consultant.get(path))
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
    [("conditions", "ask Jane Archer first", "person's name"), ("conditions", "x" * 201, "200 characters")],
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
