"""The organiser's pages without scripts: the pool and its filters, places by hand, doubts beside them, taking off."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
from decisions import entered, form_of, text_of
from visits import Clock, Visit

from planner.records.rows import CaseNow
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.wording.words import day_words

SignIn = Callable[[str], Visit]
SOON = datetime.date.today() + datetime.timedelta(days=7)


class Unit:
    """The invented unit with its people signed in."""

    def __init__(self, store: Store, signed_in: SignIn, rulebook: Rulebook) -> None:
        self.store, self.rulebook = store, rulebook
        self.trainee, self.consultant = signed_in("trainee-3"), signed_in("consultant-1")
        self.organiser = signed_in("organiser-1")

    def approved(self, name: str, tier: int | None = None, covers: str = "table", **findings: Any) -> CaseNow:
        """A demonstration case, submitted and approved, for whoever operates unless it is to be as named."""
        case = self.store.case(entered(self.store, self.rulebook, name))
        version = self.store.save_case(case.id, 1, findings, "trainee-3") if findings else self.store.version(case.id)
        plan, path = f"/cases/{case.reference}/{case.eye}", f"/approvals/{case.reference}/{case.eye}"
        token = self.trainee.token(f"{plan}/plan")
        self.trainee.post(f"{plan}/submit", data={"token": token, "version": str(version.number)})
        if tier is None:
            fields = form_of(self.consultant, path, "Approve as named, tier")
        else:
            fields = form_of(self.consultant, f"{path}?tier={tier}", "Approve as changed") | {"reason": "seen twice"}
        fields |= {"covers": covers}
        assert self.consultant.post(path, data=fields).status_code == 303
        return self.store.case_now(case.id)

    def place(self, now: CaseNow, on: datetime.date | None = None, **fields: str) -> Any:
        path = f"/lists/place/{now.case.reference}/{now.case.eye}"
        sent = {
            "token": self.organiser.token("/notices"),
            "approval": str(now.approval.id if now.approval else ""),
            **{
                "day": SOON.isoformat() if on is None else on.isoformat(),
                "theatre": "Theatre 2",
                "place": "",
                "trainee": "trainee-5",
            },
            "supervisor": "consultant-1",
        }
        return self.organiser.post(path, data=sent | fields)

    def doubts(self, day: datetime.date = SOON) -> str:
        found = re.findall(r"Look again:</strong> ([^<]+)<", self.organiser.get(f"/lists/{day}").text)
        return " | ".join(found)


@pytest.fixture
def unit(store: Store, signed_in: SignIn, rulebook: Rulebook, clock: Clock) -> Unit:
    # Filing tokens are read from a page that every role may see and that holds a form.
    return Unit(store, signed_in, rulebook)


def fresh() -> str:
    return datetime.date.today().isoformat()


def references(page: str) -> list[str]:
    return re.findall(r"EYE</span> (H-\d+)</a>", page)


def test_the_pool_holds_what_is_approved_and_stands_and_nothing_else(unit: Unit) -> None:
    approved = unit.approved("routine")
    entered(unit.store, unit.rulebook, "tense-white")
    assert references(unit.organiser.get("/lists").text) == ["H-101"]
    unit.store.save_case(approved.case.id, 1, {"iop_mmhg": 31}, "trainee-3", seen=approved.seen)
    assert "No approved case waits for a place." in text_of(unit.organiser.get("/lists"))


def test_each_filter_narrows_and_unites_with_the_others(unit: Unit) -> None:
    unit.approved("routine")
    unit.approved("tense-white")
    get = unit.organiser.get
    assert len(references(get("/lists").text)) == 2
    assert references(get("/lists?tier=3").text) == ["H-102"]
    assert references(get("/lists?tier=1").text) == ["H-101"]
    assert references(get("/lists?kit=trypan-blue").text) == ["H-102"]
    [easy] = unit.store.cases(reference="H-101")
    [hard] = unit.store.cases(reference="H-102")
    for name in ("stage", "anaesthesia", "urgency", "consent"):
        field = {"anaesthesia": "anaesthesia_requested", "urgency": "urgency"}.get(name)
        values = re.search(rf'<select id="{name}".*?</select>', get("/lists").text, re.S)
        assert values
        for value in re.findall(r'value="([^"]+)"', values[0]):
            shown = references(get("/lists", params={name: value}).text)
            assert shown and set(shown) <= {"H-101", "H-102"}
            if field:
                held = {now.case.reference for now in (easy, hard) if now.version.findings.get(field) == value}
                assert not held or set(shown) == held
    assert "No approved case is like that" in text_of(get("/lists?tier=1&kit=trypan-blue"))


def test_a_case_is_placed_shown_and_taken_off_with_a_reason(unit: Unit, signed_in: SignIn) -> None:
    now = unit.approved("routine")
    assert unit.place(now).headers["location"] == f"/lists/{SOON}"
    [held] = unit.store.list_of(SOON)
    assert held.allocation is not None and (held.allocation.place, held.allocation.theatre) == (1, "Theatre 2")
    page = text_of(signed_in("trainee-5").get(f"/lists/{SOON}"))
    assert "H-101" in page and "trainee-5, consultant-1" in page and "Take off" not in page
    assert f"is on the list of {day_words(SOON)}" in text_of(signed_in("trainee-5").get("/notices"))
    assert references(unit.organiser.get("/lists").text) == []
    fields = form_of(unit.organiser, f"/lists/{SOON}", "Take off</button>")
    assert unit.organiser.post(f"/lists/{SOON}/take-off", data=fields).status_code == 422
    assert unit.organiser.post(f"/lists/{SOON}/take-off", data=fields | {"why": "list is short"}).status_code == 303
    assert unit.store.list_of(SOON) == () and references(unit.organiser.get("/lists").text) == ["H-101"]
    assert "list is short" in text_of(signed_in("trainee-5").get("/notices"))
    assert unit.organiser.post(f"/lists/{SOON}/take-off", data=fields | {"why": "again"}).status_code == 409


def test_a_theatre_in_other_letters_is_the_same_theatre(unit: Unit) -> None:
    unit.place(unit.approved("routine"))
    unit.place(unit.approved("tense-white"), theatre=" theatre  2")
    assert {now.allocation.theatre for now in unit.store.list_of(SOON) if now.allocation} == {"Theatre 2"}


def test_without_an_order_a_case_comes_after_the_last(unit: Unit) -> None:
    unit.place(unit.approved("routine"))
    unit.place(unit.approved("tense-white"))
    assert [now.allocation.place for now in unit.store.list_of(SOON) if now.allocation] == [1, 2]


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"day": "27/11/2026"}, "YYYY-MM-DD"),
        ({"day": "2020-01-02"}, "is over"),
        ({"theatre": ""}, "Theatre: its name"),
        ({"theatre": "Jane Archer"}, "person's name"),
        ({"place": "first"}, "a whole number"),
        ({"place": "0"}, "is no place on a list"),
        ({"supervisor": ""}, "choose who supervises"),
        ({"supervisor": "nobody-9"}, "nobody active has the code"),
        ({"supervisor": "trainee-5"}, "cannot supervise their own operation"),
    ],
)
def test_what_cannot_be_a_place_is_refused_and_not_lost(unit: Unit, fields: dict[str, str], why: str) -> None:
    now = unit.approved("routine")
    answer = unit.place(now, **fields)
    assert answer.status_code == 422 and why in text_of(answer)
    assert 'value="Theatre 2"' in answer.text or "theatre" in fields
    assert unit.store.cases(state="listed") == ()


def test_a_place_that_is_taken_names_who_has_it(unit: Unit) -> None:
    unit.place(unit.approved("routine"))
    answer = unit.place(unit.approved("tense-white"), place="1")
    assert answer.status_code == 422 and "is taken by H-101" in text_of(answer)


def test_a_case_approved_again_meanwhile_is_not_placed(unit: Unit) -> None:
    now = unit.approved("routine")
    unit.store.withdraw(now.approval.id if now.approval else 0, "seen again", "consultant-1")
    answer = unit.place(now)
    assert answer.status_code == 409 and unit.store.cases(state="listed") == ()


def test_an_approval_that_ages_before_the_day_is_said_and_not_in_the_way(unit: Unit) -> None:
    days = unit.rulebook.vocabulary.by_id["iop_date"].valid_days
    assert days is not None
    now = unit.approved("routine", iop_date=fresh(), biometry_date=fresh())
    last = datetime.date.today() + datetime.timedelta(days=days)
    assert unit.place(now, last).status_code == 303
    assert "will not stand" not in unit.doubts(last)
    page = unit.organiser.get(f"/lists/{last}")
    fields = form_of(unit.organiser, f"/lists/{last}", "Take off</button>")
    assert page.status_code == 200
    unit.organiser.post(f"/lists/{last}/take-off", data=fields | {"why": "another day"})
    later = last + datetime.timedelta(days=1)
    assert unit.place(now, later).status_code == 303
    today = day_words(datetime.date.today())
    assert f"The approval will not stand on that day: Date of the pressure {today}" in unit.doubts(later)


def test_a_supervisor_who_is_not_what_the_tier_asks_for_is_said(unit: Unit) -> None:
    now = unit.approved("routine", tier=4, iop_date=fresh(), biometry_date=fresh())
    assert unit.place(now, supervisor="trainee-3", trainee="trainee-5").status_code == 303
    assert "Supervision asks for a consultant (consultant operates); trainee-3 is entered as trainee." in unit.doubts()


def test_one_person_in_two_theatres_on_a_day_is_said_at_both(unit: Unit) -> None:
    unit.place(unit.approved("routine"), trainee="")
    unit.place(unit.approved("tense-white"), theatre="Theatre 1")
    assert unit.doubts().count("consultant-1 is in Theatre") == 2
    assert "No trainee is named" in unit.doubts()


def test_what_is_approved_as_named_is_not_placed_with_another_stage(unit: Unit, store: Store) -> None:
    """By the invented unit's file trainee-5 is late, trainee-2 early; the routine plan is made for early."""
    now = unit.approved("routine", covers="as-named")
    refused = unit.place(now, trainee="trainee-5")
    assert refused.status_code == 422 and "approved as named for Early" in text_of(refused)
    assert store.list_of(SOON) == ()
    store.change_person("trainee-5", "command-line", trainee_id="trainee-2")
    assert unit.place(now, trainee="trainee-5").status_code == 303 and unit.doubts() == ""
    # The trainee is further on by the day of the list: said beside it, and their plan is not printed.
    store.change_person("trainee-5", "command-line", trainee_id="trainee-5")
    assert "approved as named for Early, the first hundred whole operations, not for Late" in unit.doubts()
    assert "not covered by what was approved" in text_of(unit.organiser.get(f"/lists/{SOON}"))
    plan = f"/cases/{now.case.reference}/{now.case.eye}/plan"
    assert "Not printed: not what was approved" in text_of(unit.organiser.get(plan))
    printed = unit.organiser.get(f"{plan}.pdf")
    assert printed.status_code != 200 and "approved as named for Early" in text_of(printed)


def test_approved_for_the_table_the_plan_is_for_whoever_it_is_placed_with(unit: Unit, store: Store) -> None:
    now = unit.approved("routine")
    store.change_person("trainee-5", "command-line", trainee_id="trainee-1")
    assert unit.place(now, trainee="trainee-5").status_code == 303
    assert "consultant operates, consultant" in text_of(unit.organiser.get(f"/lists/{SOON}"))
    printed = text_of(unit.organiser.get(f"/cases/{now.case.reference}/{now.case.eye}/plan.html"))
    assert "Consultant operates" in printed and "For whoever operates, by the table of tier and stage" in printed


def test_a_withdrawn_approval_shows_on_the_list_it_is_on(unit: Unit) -> None:
    now = unit.approved("routine")
    unit.place(now)
    unit.store.save_case(now.case.id, 1, {"iop_mmhg": 31}, "trainee-3", seen=now.seen)
    assert "No approval stands" in unit.doubts()
    assert "not approved" in text_of(unit.organiser.get(f"/lists/{SOON}"))


@pytest.mark.parametrize("day", ["tomorrow", "2026-13-01", "0001-01-01", "9999-12-31"])
def test_what_is_no_day_has_no_list(unit: Unit, day: str) -> None:
    assert unit.organiser.get(f"/lists/{day}").status_code == 404
