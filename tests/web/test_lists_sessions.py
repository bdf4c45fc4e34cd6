"""The lists with a sessions file, without scripts: proposals, moves with their verdict, locks, versions, paper."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
import sys
from collections.abc import Callable
from typing import Any

import pytest
from decisions import form_of, text_of
from icalendar import Calendar
from pypdf import PdfReader
from visits import Clock, Visit

from planner.desk.desk import Desk
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.wording.words import day_words

SignIn = Callable[[str], Visit]
TUESDAY = datetime.date.today() + datetime.timedelta(days=7)
LIST = "/lists/session/tue-1-a"


pytestmark = pytest.mark.with_lists


def seen(visit: Visit, page: str = "/lists/place/L-401/right") -> str:
    found = re.search(r'name="seen" value="(\w+)"', visit.get(page).text)
    assert found
    return found[1]


def change(visit: Visit, act: str, reference: str, eye: str, **more: str) -> Any:
    sent = {"token": visit.token("/notices"), "seen": seen(visit), "act": act, "reference": reference, "eye": eye}
    return visit.post("/lists/all/change", data=sent | more)


def place(visit: Visit, reference: str, eye: str, *, session: str = "tue-1-a", **more: str) -> Any:
    people = {"session": session, "trainee": "trainee-5", "supervisor": "trainer-1"}
    return change(visit, "put", reference, eye, **(people | more))


def order(visit: Visit, session: str = "tue-1-a") -> list[str]:
    table = re.search(r"<tbody>.*?</tbody>", visit.get(f"/lists/session/{session}").text, re.S)
    return re.findall(r"EYE</span> (L-\d+)</a>", table[0]) if table else []


@pytest.fixture
def filled(organiser: Visit) -> Visit:
    """Three cases in the first session."""
    for reference, eye in (("L-401", "right"), ("L-402", "left"), ("L-404", "left")):
        assert place(organiser, reference, eye).headers["location"] == LIST
    return organiser


def test_a_proposal_is_shown_first_and_entered_only_when_accepted(organiser: Visit, store: Store) -> None:
    answer = organiser.post("/lists/all/propose", data={"token": organiser.token("/notices"), "way": "round"})
    told = text_of(answer)
    assert "44 changes" in told and "Nothing is entered yet" in told and "Without a place: 4" in told
    assert store.list_of(TUESDAY) == ()
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text))
    fields["proposal"] = html.unescape(fields["proposal"])
    assert organiser.post("/lists/all/accept", data=fields).headers["location"] == "/lists"
    tuesday = fields["proposal"].split("session: thu-1-a")[0]
    assert len(store.list_of(TUESDAY)) == tuesday.count("case:") >= 10
    # The same proposal a second time was made from lists that are no longer so.
    again = organiser.post("/lists/all/accept", data=fields)
    assert again.status_code == 409 and "changed since you opened" in text_of(again)
    sessions = text_of(organiser.get("/lists"))
    assert "no rule broken" in sessions and re.search(r"\d+ of 240", sessions)


@pytest.mark.long
def test_the_organiser_has_the_best_searched_for(organiser: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = {"token": organiser.token("/notices"), "way": "round"}
    quick = organiser.post("/lists/all/propose", data=sent)
    assert "Not proved to be the best" in text_of(quick) and "about 20 seconds" in text_of(quick)
    monkeypatch.setattr("planner.web.lists.propose.LONGER", 3.0)
    told = text_of(organiser.post("/lists/all/propose", data=sent | {"longer": "yes"}))
    assert "44 changes" in told and "seconds" not in told and "No lists place more cases." in told
    assert "short of the best" in told or "no lists are worth more" in told
    monkeypatch.setitem(sys.modules, "planner.lists.matching.constraint_model", None)
    without = organiser.post("/lists/all/propose", data=sent | {"longer": "yes"})
    assert without.status_code == 503 and "the solver is not installed" in text_of(without)
    filled = text_of(organiser.post("/lists/all/propose", data=sent))
    assert "44 changes" in filled and "Search for better ones" not in filled


def test_a_tampered_proposal_that_breaks_a_rule_is_not_entered(organiser: Visit, store: Store) -> None:
    line = "{case: L-414, eye: left, trainee: trainee-2, supervisor: trainer-1}"
    proposal = f"lists:\n  - session: tue-1-a\n    cases:\n      - {line}\n"
    sent = {"token": organiser.token("/notices"), "seen": seen(organiser), "proposal": proposal}
    answer = organiser.post("/lists/all/accept", data=sent)
    assert answer.status_code == 422 and "First correct what is broken" in text_of(answer)
    assert store.list_of(TUESDAY) == ()


def test_every_session_is_offered_with_the_checkers_word(organiser: Visit) -> None:
    told = text_of(organiser.get("/lists/place/L-414/left"))
    assert "worth most" in told and "Stands" in told and "Breaks:" in told
    # Urgent, so within 28 days of its recording (the invented unit's own limit): the last session is too late.
    assert re.search(
        r"thu-4-a.*urgent, so within 28 days of being recorded on \d+ \w+ \d{4} \(no date of listing\), "
        r"and \d+ \w+ \d{4} is later",
        told,
    )


def test_a_case_that_fits_nowhere_is_told_why(organiser: Visit) -> None:
    told = text_of(organiser.get("/lists/place/L-420/right"))
    assert "Every place breaks a rule" in told and "consent to surgery is recorded" in told
    assert "This would place it: Consent to surgery, once it is given and recorded. Then it is number" in told


def test_the_verdict_comes_at_once_and_before_what_breaks_a_rule(filled: Visit, store: Store) -> None:
    assert "Every rule kept" in text_of(filled.get(LIST))
    # What was approved is nobody's to set aside: a trainer where the table has a consultant is refused outright.
    refused = place(filled, "L-414", "left", sure="yes", why="consultant-1 comes for it")
    assert refused.status_code == 422 and "trainer-1 is a trainer" in text_of(refused)
    assert "Enter it anyway" not in text_of(refused) and "L-414" not in order(filled)
    answer = place(filled, "L-414", "left", supervisor="consultant-2")
    told = text_of(answer)
    assert answer.status_code == 200 and "This would break a rule" in told and "is not on this session" in told
    assert "L-414" not in order(filled)
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text))
    assert filled.post("/lists/all/change", data=fields).status_code == 422
    assert filled.post("/lists/all/change", data=fields | {"why": "consultant-2 comes for it"}).status_code == 303
    assert "This list may not stand" in text_of(filled.get(LIST)) and "L-414" in order(filled)
    [case] = [now for now in store.list_of(TUESDAY) if now.case.reference == "L-414"]
    # The reason is in the trail with the name of whoever entered it.
    rows = store.trail(case_id=case.case.id)
    assert any(entry.who == "organiser-1" for entry in rows if entry.what == "put on a list")


def test_up_down_other_people_and_off(filled: Visit, store: Store) -> None:
    assert order(filled) == ["L-401", "L-402", "L-404"]
    change(filled, "up", "L-404", "left")
    assert order(filled) == ["L-401", "L-404", "L-402"]
    change(filled, "down", "L-401", "right")
    assert order(filled) == ["L-404", "L-401", "L-402"]
    place(filled, "L-401", "right", trainee="trainee-4")
    assert order(filled) == ["L-404", "L-401", "L-402"] and "trainee-4" in text_of(filled.get(LIST))
    refused = change(filled, "off", "L-404", "left")
    assert refused.status_code == 422 and "a case comes off its list" in text_of(refused)
    change(filled, "off", "L-404", "left", reason="unwell otherwise", why="cough since Sunday")
    assert order(filled) == ["L-401", "L-402"]
    case = store.find_case("L-404", "left")
    assert case is not None
    [ended] = [at.ended for at in store.allocations(case.id) if at.ended and at.ended.kind == "withdrawn"]
    assert ended.why == "unwell otherwise cough since Sunday"


def test_the_reasons_offered_for_taking_a_case_off_are_the_rulebooks(filled: Visit, rulebook: Rulebook) -> None:
    offered = re.search(r'<select[^>]*name="reason".*?</select>', filled.get(LIST).text, re.DOTALL)
    assert offered is not None
    words = re.findall(r"<option[^>]*>([^<]+)</option>", offered[0])
    assert words[-len(rulebook.lists.taken_off.reasons) :] == rulebook.lists.taken_off.reasons


@pytest.mark.long
def test_a_locked_case_stays_when_the_rest_is_matched_again(filled: Visit) -> None:
    change(filled, "lock", "L-402", "left", why="asked for that day")
    assert "Locked: asked for that day" in text_of(filled.get(LIST))
    refused = place(filled, "L-402", "left", session="thu-1-a", supervisor="consultant-2", sure="yes", why="so")
    assert refused.status_code == 422 and "is locked in its place" in text_of(refused)
    answer = filled.post("/lists/all/propose", data={"token": filled.token("/notices"), "way": "again"})
    rows = re.findall(
        r'<th scope="row">(L-\d+), \w+ eye</th><td data-label="Change"><span class="cell"><strong>([a-z ]+)',
        answer.text,
    )
    assert "L-402" not in dict(rows) and len(rows) >= 40
    change(filled, "unlock", "L-402", "left", why="any day will do")
    assert "Locked:" not in text_of(filled.get(LIST))


def test_the_second_of_two_organisers_is_told_and_nothing_is_lost(filled: Visit, signed_in: SignIn) -> None:
    other = signed_in("consultant-1")
    mine = {"token": other.token("/notices"), "seen": seen(other), "act": "up", "reference": "L-404", "eye": "left"}
    change(filled, "up", "L-402", "left")
    answer = other.post("/lists/all/change", data=mine)
    assert answer.status_code == 409 and "changed since you opened that page" in text_of(answer)
    assert order(filled) == ["L-402", "L-401", "L-404"]


def test_a_version_is_published_and_what_changed_since_is_marked(
    filled: Visit, signed_in: SignIn, store: Store
) -> None:
    fields = form_of(filled, LIST, "Publish version 1")
    assert filled.post(f"{LIST}/publish", data=fields | {"note": "the first"}).status_code == 303
    told = text_of(filled.get(LIST))
    assert "published, version 1" in told and "since" not in told.split("Versions and paper")[1][:60]
    told = " ".join(notice.text for notice in store.notices("trainee-5"))
    assert "is published: L-401, right eye: on your list" in told
    place(filled, "L-402", "left", trainee="trainee-4")
    place(filled, "L-405", "right", trainee="", supervisor="consultant-1")
    change(filled, "off", "L-404", "left", reason="did not come")
    told = text_of(filled.get(LIST))
    assert "OTHER PEOPLE" in told and "NEW" in told and "OFF since version 1: L-404, left eye" in told
    assert "3 changes since" in told
    fields = form_of(filled, LIST, "Publish version 2")
    filled.post(f"{LIST}/publish", data=fields)
    second = text_of(signed_in("trainee-3").get(f"{LIST}/version/2"))
    assert "OTHER PEOPLE" in second and "OFF since the version before: L-404, left eye" in second
    assert "the first" in text_of(filled.get(f"{LIST}/version/1"))
    assert filled.get(f"{LIST}/version/3").status_code == 404
    for code, says in (("trainee-4", "on"), ("trainee-5", "off"), ("trainer-1", "changed on")):
        assert any(f"L-402, left eye: {says} your list" in notice.text for notice in store.notices(code)), code


def test_a_list_that_changed_since_the_page_was_opened_is_not_published(filled: Visit, store: Store) -> None:
    fields = form_of(filled, LIST, "Publish version 1")
    place(filled, "L-402", "left", trainee="trainee-4")
    refused = filled.post(f"{LIST}/publish", data=fields | {"note": "as I saw it"})
    assert refused.status_code == 409 and "have changed since you opened this page" in text_of(refused)
    assert "as I saw it" in refused.text and filled.get(f"{LIST}/version/1").status_code == 404
    assert filled.post(f"{LIST}/publish", data=form_of(filled, LIST, "Publish version 1")).status_code == 303


def test_a_list_that_breaks_a_rule_is_published_by_a_consultant_alone_with_a_note(
    filled: Visit, signed_in: SignIn
) -> None:
    place(filled, "L-414", "left", supervisor="consultant-2", sure="yes", why="consultant-2 comes for it")
    fields = form_of(filled, LIST, "Publish version 1")
    assert filled.post(f"{LIST}/publish", data=fields | {"note": "so"}).status_code == 422
    consultant = signed_in("consultant-1")
    fields = form_of(consultant, LIST, "Publish version 1")
    assert consultant.post(f"{LIST}/publish", data=fields).status_code == 422
    assert consultant.post(f"{LIST}/publish", data=fields | {"note": "I scrub for number 4"}).status_code == 303
    told = text_of(consultant.get(f"{LIST}/version/1"))
    assert "Published in spite of" in told and "I scrub for number 4" in told


def test_a_consultant_needed_in_two_rooms_at_once_is_warned(filled: Visit, signed_in: SignIn) -> None:
    consultant = signed_in("consultant-1")
    assert "two rooms at once" not in text_of(consultant.get("/approvals"))
    place(filled, "L-406", "right", supervisor="consultant-1", trainee="trainee-2")
    place(
        filled, "L-407", "left", session="tue-1-b", trainee="trainee-4", supervisor="consultant-1", sure="yes", why="so"
    )
    for page in ("/approvals", "/lists"):
        told = text_of(consultant.get(page))
        assert "You are needed in two rooms at once" in told and "tue-1-b" in told
    assert "two rooms at once" not in text_of(filled.get("/lists"))


def test_paper_calendar_and_table(filled: Visit, signed_in: SignIn) -> None:
    brief = PdfReader(io.BytesIO(filled.get(f"{LIST}/brief.pdf").content))
    told = " ".join(" ".join(sheet.extract_text() for sheet in brief.pages).split())
    assert "L-401" in told and "approved by Person 1" in told and "not published" in told
    weeks = PdfReader(io.BytesIO(filled.get("/lists/week.pdf").content))
    told = " ".join(sheet.extract_text() for sheet in weeks.pages)
    assert told.count("Week of ") >= 3 and "Waiting for a place" in told
    rows = list(csv.DictReader(io.StringIO(filled.get("/lists/lists.csv").text)))
    assert [row["case"] for row in rows] == ["L-401", "L-402", "L-404"]
    for code, count in (("trainee-5", 1), ("trainee-3", 0)):
        events = Calendar.from_ical(signed_in(code).get("/lists/lists.ics").content).walk("VEVENT")
        assert len(events) == count
    assert filled.get("/lists/session/tue-1-b/brief.pdf").status_code == 404


@pytest.mark.long
def test_pages_and_notices_have_no_date_in_figures(filled: Visit, signed_in: SignIn) -> None:
    filled.post(f"{LIST}/publish", data=form_of(filled, LIST, "Publish version 1"))
    proposal = filled.post("/lists/all/propose", data={"token": filled.token("/notices"), "way": "round"})
    found = [re.sub(r"(needed by|since|recorded on|of being \w+ on) [\d-]+", "", text_of(proposal))]
    trainee = signed_in("trainee-5")
    for visit, pages in (
        (trainee, ("/notices", "/cases/L-401/right/plan", "/cases")),
        (filled, ("/lists/place/L-401/right",)),
    ):
        found += [text_of(visit.get(page)) for page in pages]
    told = " ".join(found)
    assert f"{TUESDAY.day} {TUESDAY:%B %Y}" in told
    # A measurement's date in the plan of a case is data, and stands in a sentence of the rulebook's.
    assert re.findall(r"(?:on|of|by|Day:|Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4}-\d\d-\d\d", told) == []


def test_a_calendar_says_what_was_published_and_what_was_taken_off(filled: Visit, signed_in: SignIn) -> None:
    trainee = signed_in("trainee-5")

    def events() -> list[tuple[str, str, int]]:
        first, second = (trainee.get("/lists/lists.ics").content for _ in range(2))
        found = Calendar.from_ical(first).walk("VEVENT")
        assert first == second or any(str(event["STATUS"]) != "CONFIRMED" for event in found)
        return [(str(event["UID"]), str(event["STATUS"]), int(event["SEQUENCE"])) for event in found]

    uid = "tue-1-a@theatre-lists.invalid"
    assert events() == [(uid, "TENTATIVE", 0)]
    filled.post(f"{LIST}/publish", data=form_of(filled, LIST, "Publish version 1"))
    assert events() == [(uid, "CONFIRMED", 1)]
    for reference, eye in (("L-401", "right"), ("L-402", "left"), ("L-404", "left")):
        place(filled, reference, eye, trainee="trainee-4")
    assert events() == [(uid, "CANCELLED", 2)]
    filled.post(f"{LIST}/publish", data=form_of(filled, LIST, "Publish version 2"))
    assert events() == [(uid, "CANCELLED", 2)]


def test_what_is_not_there_is_not_found(filled: Visit) -> None:
    assert filled.get("/lists/session/no-such").status_code == 404
    assert change(filled, "up", "L-999", "left").status_code == 404
    assert change(filled, "up", "L-410", "right").status_code == 404
    assert place(filled, "L-401", "right", session="no-such").status_code == 404
    assert place(filled, "L-401", "right", supervisor="nobody").status_code == 404
    assert change(filled, "fly", "L-401", "right").status_code == 404


def test_without_a_sessions_file_the_pages_are_as_they_were(store: Store, rulebook: Rulebook, clock: Clock) -> None:
    from visits import CHEAP

    from planner.web.security.passwords import Passwords
    from planner.web.server.app import make_app
    from planner.web.server.settings import Settings

    visit = Visit(
        make_app(
            Desk(store, rulebook, None, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
        )
    )
    visit.sign_in("organiser-1")
    assert "Sessions" not in text_of(visit.get("/lists")) and visit.get(LIST).status_code == 404
    assert 'name="theatre"' in visit.get("/lists/place/L-401/right").text


def test_somebody_is_away_this_morning(filled: Visit, store: Store) -> None:
    fields = form_of(filled, LIST, "Show the smallest change")
    assert filled.post(f"{LIST}/morning", data=fields | {"who": "trainer-1"}).status_code == 422
    answer = filled.post(f"{LIST}/morning", data=fields | {"who": "trainer-1", "because": "trainer-1 is ill"})
    told = text_of(answer)
    assert f"trainer-1 is away on {day_words(TUESDAY)} (trainer-1 is ill)" in told and "leave" not in told
    assert "Nobody loses a place. 3 cases have other people" in told and "No smaller change keeps every rule." in told
    assert "file" not in told
    assert told.count("consultant-1 supervises instead of trainer-1") == 3 and "(theatre 1)" in told
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text))
    fields["proposal"] = html.unescape(fields["proposal"])
    assert filled.post("/lists/all/accept", data=fields | {"why": "trainer-1 is ill"}).status_code == 303
    assert {now.allocation.supervisor for now in store.list_of(TUESDAY) if now.allocation} == {"consultant-1"}
    assert order(filled) == ["L-401", "L-402", "L-404"]


def test_the_session_is_lost(filled: Visit) -> None:
    fields = form_of(filled, LIST, "Show the smallest change")
    told = text_of(filled.post(f"{LIST}/morning", data=fields | {"lost": "yes", "because": "no water"}))
    assert told.count("goes to tue-1-b (theatre 2) as number") == 3
    assert "tue-1-a is lost (no water): 3 cases need another place." in told


def test_a_lock_that_bars_the_only_answer_is_named(filled: Visit) -> None:
    assert change(filled, "lock", "L-401", "right", why="asked for a morning").status_code == 303
    fields = form_of(filled, LIST, "Show the smallest change")
    told = text_of(filled.post(f"{LIST}/morning", data=fields | {"who": "trainer-1", "because": "ill"}))
    assert "Still broken, since what is begun or locked stays" in told
    assert "L-401, right eye is locked in tue-1-a because: asked for a morning. Unlocked, it could" in told
    assert "and then every rule is kept" in told and "Unlock it on its list" in told


def test_on_the_day_the_time_counts_and_what_is_begun_stays_first(
    filled: Visit, clock: Clock, signed_in: SignIn
) -> None:
    at = datetime.datetime.combine(TUESDAY, datetime.time(10, 15)).astimezone()
    clock.forward(seconds=(at - clock()).total_seconds())
    organiser = signed_in("organiser-1")
    page = organiser.get(LIST).text
    assert "So far in theatre 1" in page and "So far in theatre 2" not in page
    fields = form_of(organiser, LIST, "Show the smallest change") | {"because": "the first one is long"}
    # The first is in hand until 11:30, an hour from the end: of the two that wait, one can still be done.
    begun = fields | {"begun-tue-1-a": "1", "until-tue-1-a": "11:30"}
    told = text_of(organiser.post(f"{LIST}/morning", data=begun))
    assert "As of 10:1" in told and "nothing is put before that" in told
    assert "counts as not begun" not in told
    proposal = html.unescape(organiser.post(f"{LIST}/morning", data=begun).text)
    assert re.search(r"session: tue-1-a\n +cases:\n +- {case: L-401, eye: right, trainee: trainee-5", proposal)
    told = text_of(organiser.post(f"{LIST}/morning", data=fields | {"ends": "11:00"}))
    assert "would be done by" in told and "If it is done or under way, go back and say so." in told
    for wrong in ({"ends": "8"}, {"ends": "08:40"}, begun | {"until-tue-1-a": "later"}, {}):
        assert organiser.post(f"{LIST}/morning", data=fields | wrong).status_code == 422
    assert organiser.post(f"{LIST}/morning", data=fields | {"begun-tue-1-a": "9"}).status_code == 404


def test_a_proposal_that_takes_every_case_off_is_entered_with_its_reason(filled: Visit, store: Store) -> None:
    sent = {"token": filled.token("/notices"), "seen": seen(filled), "proposal": "lists: []\n", "why": "no water"}
    assert filled.post("/lists/all/accept", data=sent).status_code == 303
    assert not any(now.allocation for now in store.list_of(TUESDAY)) and order(filled) == []


def approved_as_named(store: Store, reference: str, eye: str) -> int:
    """Approved again for the stage it was planned for, and no other; the case's id."""
    found = store.find_case(reference, eye)
    assert found is not None
    now = store.case_now(found.id)
    kept = now.approved_snapshot
    assert kept is not None and kept.mode is not None
    store.approve(found.id, 1, kept.id, "consultant-1", kept.tier_working, kept.mode, seen=now.seen)
    return found.id


def test_another_operator_than_was_approved_is_asked_for_and_placed_once_a_consultant_says_so(
    organiser: Visit, signed_in: SignIn, store: Store
) -> None:
    case = approved_as_named(store, "L-401", "right")
    page = organiser.get("/lists/place/L-401/right")
    assert "Not covered:" in page.text or "Ask a consultant" not in page.text
    told = place(organiser, "L-401", "right")
    assert told.status_code == 200 and "This is not what was approved" in text_of(told)
    assert store.list_of(TUESDAY) == ()
    # No reason makes it stand: it is asked, not entered all the same.
    sure = place(organiser, "L-401", "right", sure="yes", why="she is good at these")
    assert "This is not what was approved" in text_of(sure) and store.list_of(TUESDAY) == ()
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', sure.text))
    asked = organiser.post("/lists/all/ask", data=fields | {"why": "she needs one more"})
    assert asked.status_code == 303, text_of(asked)
    consultant = signed_in("consultant-1")
    assert "L-401" in text_of(consultant.get("/approvals")).partition("Approved")[0]
    shown = text_of(consultant.get("/approvals/L-401/right"))
    assert "Something else is asked than was approved" in shown and "she needs one more" in shown
    assert re.search(r"Approved early, the first hundred whole operations: scrubbed, trainer, \d+ of 15 steps", shown)
    assert re.search(r"Asked late, 200 to 349 whole operations: on site, trainer, \d+ of 15 steps", shown)
    form = form_of(consultant, "/approvals/L-401/right", "Approve as named")
    assert consultant.post("/approvals/L-401/right", data=form | {"covers": "as-named"}).status_code == 303
    now = store.case_now(case)
    assert now.approval is not None and now.approved_snapshot is not None
    assert (now.approval.covers, now.approved_snapshot.stage) == ("as-named", "late")
    assert place(organiser, "L-401", "right").headers["location"] == LIST
    assert "approved by consultant-1 for tier 1" in text_of(organiser.get("/notices"))


def test_no_note_publishes_what_was_not_approved(filled: Visit, signed_in: SignIn, store: Store) -> None:
    approved_as_named(store, "L-402", "left")
    consultant = signed_in("consultant-1")
    told = text_of(consultant.get(LIST))
    assert "This list may not stand" in told and "as named, for" in told
    sent = {
        "token": consultant.token("/notices"),
        "seen": seen(consultant, LIST),
        "note": "it stands all the same",
        "after": "0",
    }
    answer = consultant.post(f"{LIST}/publish", data=sent)
    assert answer.status_code == 422 and "as named, for" in text_of(answer)
    assert store.list_versions(TUESDAY, "tue-1-a") == ()
    text = " ".join(PdfReader(io.BytesIO(consultant.get(f"{LIST}/brief.pdf").content)).pages[0].extract_text().split())
    assert "not approved as placed" in text


def test_who_could_come_at_short_notice_stands_on_the_session_page(filled: Visit, signed_in: SignIn) -> None:
    told = text_of(filled.get(LIST))
    assert "General anaesthetics: 1 at most. Places in recovery: 2 at most." in told and "Cases: " not in told
    assert "Could come at short notice" in told
    assert told.index("L-410") < told.index("L-448") < told.index("L-406"), "whose turn it is first"
    assert "L-420" not in told, "no consent, so no rule lets it stand"
    assert "Could come at short notice" not in text_of(signed_in("trainee-3").get(LIST))


def test_what_must_be_ordered_is_a_page_and_a_table(filled: Visit) -> None:
    told = text_of(filled.get("/lists/orders"))
    # Today plus 7 days: the last day for a lens is today, for kit it is over.
    assert "Lens: 21.00 D, hydrophobic acrylic" in told and "too late to order: look on the shelf" in told
    assert "Lenses take 7 days" in told
    rows = list(csv.DictReader(io.StringIO(filled.get("/lists/orders.csv").text)))
    lenses = [row for row in rows if row["what"] == "lens"]
    assert len(lenses) == 3 and {row["order_by"] for row in lenses} == {datetime.date.today().isoformat()}
    assert {row["too_late"] for row in lenses} == {"no"}


def test_past_its_date_stands_first_in_the_pool(organiser: Visit, store: Store) -> None:
    case = store.find_case("L-445", "right")
    assert case is not None
    yesterday = (datetime.date.today() - datetime.timedelta(days=1)).isoformat()
    page = text_of(organiser.get("/lists"))
    assert "waiting" in page and "since recorded" in page and "past its date" not in page
    now, changes = store.case_now(case.id), {"needed_by": yesterday, "listed_on": "2026-01-05"}
    store.save_case(case.id, now.version.number, changes, "trainee-3", seen=now.seen)
    kept = store.case_now(case.id).version
    assert kept.document["listed_on"] == "2026-01-05"
    told = text_of(organiser.get("/cases?whose=all"))
    assert told.index("L-445") < told.index("L-410"), "before what is urgent"
