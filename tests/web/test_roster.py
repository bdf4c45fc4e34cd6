"""The roster's pages without scripts: looked at, changed by two at once, retired, brought back, taken from a file."""

from __future__ import annotations

import datetime
import html
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from decisions import text_of
from fastapi import FastAPI
from httpx import Response
from openpyxl import load_workbook
from served import UNIT
from visits import CHEAP, Clock, Visit

from planner.desk.desk import Desk
from planner.lists.roster.entries import check_entries, entries_of
from planner.lists.roster.shapes import Roster
from planner.records.rows import RosterChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

SignIn = Callable[[str], Visit]
WEEK = datetime.date.today() + datetime.timedelta(days=7)


@pytest.fixture(scope="module")
def unit(rulebook: Rulebook) -> Unit:
    return read_unit(UNIT, rulebook)


pytestmark = pytest.mark.with_lists


@pytest.fixture
def kept(store: Store, roster: Roster, organiser: Visit) -> Visit:
    """An organiser, and the roster of the sessions file in the store."""
    store.change_roster([RosterChange(one.kind, one.key, 0, one.document) for one in entries_of(roster)], "organiser-1")
    return organiser


def token(visit: Visit) -> str:
    return str(visit.get("/form-token").json()["token"])


def save(visit: Visit, kind: str, key: str, **fields: Any) -> Response:
    """The form of an entry as its page fills it, sent with these fields changed."""
    page = visit.get(f"/roster/entry/{kind}", params={"key": key} if key else {})
    assert page.status_code == 200
    return visit.post(
        f"/roster/entry/{kind}", data=filled(page.text) | {f"f.{name}": value for name, value in fields.items()}
    )


def filled(page: str) -> dict[str, Any]:
    """What a browser would send of the entry's form."""
    form = re.search(r'<form [^>]*class="roster-form">(.*?)</form>', page, re.DOTALL)
    assert form
    found: dict[str, Any] = {}
    for tag in re.findall(r"<input [^>]*>", form[1]):
        named = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if named.get("type") in ("checkbox", "radio") and " checked" not in tag:
            continue
        value = html.unescape(named.get("value", ""))
        if named.get("type") == "checkbox":
            found.setdefault(named["name"], []).append(value)
        else:
            found[named["name"]] = value
    for name, text in re.findall(r'<textarea [^>]*name="([^"]+)"[^>]*>([^<]*)</textarea>', form[1]):
        found[name] = html.unescape(text)
    for name, inside in re.findall(r'<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>', form[1], re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = html.unescape(chosen[1]) if chosen else ""
    return found


def document(store: Store, key: str) -> dict[str, Any]:
    [entry] = [one for one in store.roster() if one.key == key]
    return dict(entry.document)


def upload(visit: Visit, name: str, content: bytes, **fields: str) -> Response:
    sent = {"token": token(visit), **fields}
    return visit.post("/roster/take/look", data=sent, files={"file": (name, content)})


def confirm(visit: Visit, preview: Response, **fields: str) -> Response:
    form = re.search(r'<form [^>]*action="/roster/take/enter".*?</form>', preview.text, re.DOTALL)
    assert form, text_of(preview)
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form[0])
    return visit.post("/roster/take/enter", data={name: html.unescape(value) for name, value in hidden} | fields)


# One world.


def test_the_served_file_is_shown_and_cannot_be_changed_until_it_is_taken(organiser: Visit, store: Store) -> None:
    told = text_of(organiser.get("/roster"))
    assert "In force is the sessions file" in told and "theatre 1" in told and "Add a session" not in told
    refused = organiser.post("/roster/entry/supervisor", data={"token": token(organiser), "key": "", "based_on": "0"})
    assert refused.status_code == 400 and "take the sessions file into the store first" in text_of(refused)
    refused = upload(organiser, "trainees.csv", b"id,target\ntrainee-2,3\n")
    assert refused.status_code == 422 and store.roster_mark() == 0


def test_taken_into_the_store_it_is_the_same_roster_and_in_force(
    organiser: Visit, store: Store, roster: Roster, unit: Unit, rulebook: Rulebook
) -> None:
    before = organiser.get("/lists").text
    preview = organiser.post("/roster/take/look", data={"token": token(organiser), "served": "yes"})
    count = len(entries_of(roster))
    assert f"{count} new, 0 changed, 0 set aside" in text_of(preview) and store.roster_mark() == 0
    assert confirm(organiser, preview).status_code == 303
    checked = check_entries(store.roster(), unit, rulebook)
    assert checked.roster == roster and not checked.faults
    assert "The sessions file that the server was given is not asked" in text_of(organiser.get("/roster"))
    # Nothing about the lists is other than it was.
    strip = re.compile(r'value="[0-9a-f]{16,}"')
    assert strip.sub("", organiser.get("/lists").text) == strip.sub("", before)


def test_a_change_is_seen_by_the_next_request_of_anybody(kept: Visit, signed_in: SignIn) -> None:
    consultant = signed_in("consultant-1")
    assert "tue-1-a" in text_of(consultant.get("/lists"))
    assert save(kept, "session", "tue-1-a", minutes="210").status_code == 303
    assert "of 210 minutes" in text_of(consultant.get("/lists/session/tue-1-a")) or "0 of 210" in text_of(
        consultant.get("/lists")
    )


def test_another_process_sees_it_too(kept: Visit, store: Store, rulebook: Rulebook, unit: Unit, clock: Clock) -> None:
    other = Visit(
        make_app(
            Desk(store, rulebook, unit, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
        )
    )
    assert other.sign_in("consultant-1") == 303
    assert "tue-1-a" in text_of(other.get("/lists"))
    save(kept, "session", "tue-1-a", minutes="100")
    assert "0 of 100" in text_of(other.get("/lists"))


def test_an_empty_store_is_filled_by_hand(store: Store, rulebook: Rulebook, unit: Unit, clock: Clock) -> None:
    visit = Visit(
        make_app(
            Desk(store, rulebook, unit, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
        )
    )
    visit.sign_in("organiser-1")
    assert "Nothing is entered yet" in text_of(visit.get("/roster"))
    assert (
        save(visit, "supervisor", "", id="consultant-1", grade="consultant", can=["scrubbed", "on-site"]).status_code
        == 303
    )
    assert save(visit, "trainee", "", id="trainee-3", target="4").status_code == 303
    # Lists are judged once there is a session.
    assert "Sessions" not in text_of(visit.get("/lists"))
    session = {"id": "one", "day": str(WEEK), "starts": "08:30", "theatre": "theatre 1", "minutes": "240"}
    session |= {"anaesthetist": "no", "supervisors": ["consultant-1"], "kit.1.key": "iris-hooks", "kit.1.sets": "2"}
    answer = save(visit, "session", "", **session)
    assert answer.status_code == 303, text_of(answer)
    assert "0 of 240" in text_of(visit.get("/lists"))
    assert document(store, "one")["kit"] == {"iris-hooks": {"sets": 2}}
    assert save(visit, "limits", "", overrun_chance="0.2").status_code == 303
    assert "0.2" in text_of(visit.get("/roster/limits"))


def test_without_a_unit_the_pages_say_what_is_missing(store: Store, rulebook: Rulebook, clock: Clock) -> None:
    visit = Visit(
        make_app(
            Desk(store, rulebook, None, clock=clock), Settings(secure_cookies=False, clock=clock), Passwords(CHEAP)
        )
    )
    visit.sign_in("organiser-1")
    assert "planner serve --unit unit.yaml" in text_of(visit.get("/roster"))


# Entries.


def test_a_form_sent_as_it_is_changes_nothing(kept: Visit, store: Store) -> None:
    before = store.roster_mark()
    for entry in store.roster():
        answer = save(kept, entry.kind, entry.key)
        assert answer.status_code == 303, (entry, text_of(answer))
    assert store.roster_mark() == before


@pytest.mark.parametrize(
    ("key", "fields", "says"),
    [
        ("tue-1-a", {"minutes": "2400"}, "at most 720"),
        ("tue-1-a", {"starts": "half past"}, "write it like 08:30"),
        ("tue-1-a", {"day": "soon"}, "'soon' is not a day"),
        ("tue-1-a", {"theatre": ""}, "`theatre` is missing"),
        ("tue-1-a", {"supervisors": ["nobody-9"]}, "no supervisor 'nobody-9'"),
        ("tue-1-a", {"theatre": "theatre 2"}, "while tue-1-a still runs there"),
        ("tue-1-a", {"kit.1.sets": "many"}, "not a plain decimal number"),
        ("tue-1-a", {"kit.9.sets": "1"}, "does not say which"),
        ("", {"id": "tue-1-a", "day": str(WEEK)}, "is in the roster already"),
    ],
)
def test_each_fault_is_told_and_what_was_typed_stays(
    kept: Visit, store: Store, key: str, fields: dict[str, Any], says: str
) -> None:
    before = store.roster_mark()
    whole = {"starts": "08:30", "theatre": "x", "minutes": "60", "anaesthetist": "no"} if not key else {}
    answer = save(kept, "session", key, **(whole | fields))
    assert answer.status_code == 422 and says in text_of(answer), text_of(answer)
    assert store.roster_mark() == before
    typed = [value for value in fields.values() if isinstance(value, str) and value]
    assert all(f'value="{value}"' in answer.text for value in typed if value != "1")


def test_two_organisers_at_two_entries_lose_nothing(kept: Visit, signed_in: SignIn, store: Store) -> None:
    other = signed_in("organiser-1")
    mine = filled(kept.get("/roster/entry/session?key=tue-1-a").text)
    theirs = filled(other.get("/roster/entry/session?key=tue-1-b").text)
    assert other.post("/roster/entry/session", data=theirs | {"f.minutes": "180"}).status_code == 303
    assert kept.post("/roster/entry/session", data=mine | {"f.minutes": "200"}).status_code == 303
    assert [document(store, key)["minutes"] for key in ("tue-1-a", "tue-1-b")] == [200, 180]


def test_the_second_at_one_entry_sees_both_and_goes_on(kept: Visit, signed_in: SignIn, store: Store) -> None:
    other = signed_in("organiser-1")
    path = "/roster/entry/session"
    mine, theirs = (filled(visit.get(f"{path}?key=tue-1-a").text) for visit in (kept, other))
    assert other.post(path, data=theirs | {"f.minutes": "180", "f.anaesthetist": "no"}).status_code == 303
    mark = store.roster_mark()
    answer = kept.post(path, data=mine | {"f.minutes": "200", "f.theatre": "theatre 9"})
    told = text_of(answer)
    assert answer.status_code == 409 and "changed this while you had it open" in told and "both changed it" in told
    assert store.roster_mark() == mark
    hidden = dict(
        re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', answer.text.partition("conflict")[2])
    )
    sent = {name: html.unescape(value) for name, value in hidden.items()}
    assert kept.post(path, data=sent).status_code == 303
    kept_now = document(store, "tue-1-a")
    assert (kept_now["minutes"], kept_now["theatre"], kept_now["anaesthetist"]) == (200, "theatre 9", "no")


def test_a_refused_form_does_not_come_round_to_win_over_the_other(kept: Visit, signed_in: SignIn) -> None:
    """The page that tells a fault is still made from the version that the first page was made from."""
    path = "/roster/entry/session"
    mine = filled(kept.get(f"{path}?key=tue-1-a").text)
    save(signed_in("organiser-1"), "session", "tue-1-a", minutes="180")
    refused = kept.post(path, data=mine | {"f.minutes": "x"})
    assert refused.status_code == 422
    assert kept.post(path, data=filled(refused.text) | {"f.minutes": "200"}).status_code == 409


def test_an_earlier_version_is_brought_back_as_a_further_one(kept: Visit, store: Store) -> None:
    save(kept, "trainee", "trainee-2", target="1")
    page = kept.get("/roster/entry/trainee?key=trainee-2")
    assert "Whole operations wanted: 1" in text_of(page)
    sent = {"token": token(kept), "key": "trainee-2", "based_on": "2", "version": "1"}
    assert kept.post("/roster/entry/trainee/earlier", data=sent).status_code == 303
    assert document(store, "trainee-2")["target"] == 8
    assert [one.number for one in store.roster_versions("trainee", "trainee-2")] == [1, 2, 3]
    assert kept.post("/roster/entry/trainee/earlier", data=sent | {"version": "9"}).status_code == 404
    assert kept.post("/roster/entry/trainee/earlier", data=sent).status_code == 409


def test_what_was_typed_is_handed_back_to_whoever_was_signed_out(kept: Visit, nobody: Visit) -> None:
    typed = filled(kept.get("/roster/entry/session?key=tue-1-a").text) | {"f.theatre": "theatre 77"}
    answer = nobody.post("/roster/entry/session", data=typed, headers={"Origin": "http://127.0.0.1"})
    assert answer.status_code == 401 and 'name="f.theatre" value="theatre 77"' in answer.text


# What hangs on it.


@pytest.fixture
def placed(kept: Visit) -> Visit:
    """One case in tue-1-a with trainee-5 and trainer-1."""
    [seen, *_] = re.findall(r'name="seen" value="([^"]+)"', kept.get("/lists/place/L-401/right").text)
    sent = {"act": "put", "reference": "L-401", "eye": "right", "session": "tue-1-a", "seen": seen}
    sent |= {"trainee": "trainee-5", "supervisor": "trainer-1", "token": token(kept)}
    assert kept.post("/lists/all/change", data=sent).status_code == 303
    return kept


def test_taking_a_supervisor_out_tells_the_placings_and_keeps_them(placed: Visit, store: Store) -> None:
    form = {"token": token(placed), "key": "trainer-1", "based_on": "1"}
    asked = placed.post("/roster/entry/supervisor/retire", data=form)
    told = text_of(asked)
    assert asked.status_code == 200 and "1 placing would lose what it rests on" in told
    assert "L-401, right eye" in told and "session tue-1-a, session tue-1-b" in told
    mark = store.roster_mark()
    done = placed.post("/roster/entry/supervisor/retire", data=form | {"sure": "yes", "note": "left the unit"})
    assert done.status_code == 303 and store.roster_mark() > mark
    assert "trainer-1" not in document(store, "tue-1-a")["supervisors"]
    assert "trainer-1 is no supervisor of the roster" in text_of(placed.get("/lists"))
    # Nothing is deleted: the place stands, and whoever left can be brought back.
    assert [now.case.reference for now in store.list_of(WEEK)] == ["L-401"]
    back = {"token": token(placed), "key": "trainer-1", "based_on": "2", "version": "1"}
    assert placed.post("/roster/entry/supervisor/earlier", data=back).status_code == 303
    assert "trainer-1" in text_of(placed.get("/roster/people"))


def test_taking_a_session_out_or_moving_it_tells_the_placings(placed: Visit, store: Store) -> None:
    form = {"token": token(placed), "key": "tue-1-a", "based_on": "1"}
    assert "session tue-1-a is no more" in text_of(placed.post("/roster/entry/session/retire", data=form))
    asked = save(placed, "session", "tue-1-a", theatre="theatre 9")
    assert asked.status_code == 200 and "session tue-1-a is on" in text_of(asked)
    asked = save(placed, "session", "tue-1-a", supervisors=["consultant-1"])
    assert "trainer-1 no longer supervises there" in text_of(asked)
    assert document(store, "tue-1-a")["supervisors"] == ["consultant-1", "trainer-1"]
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', asked.text.partition("<main")[2]))
    sent = {name: html.unescape(value) for name, value in hidden.items()}
    assert placed.post("/roster/entry/session", data=sent | {"note": "asked for elsewhere"}).status_code == 303
    assert document(store, "tue-1-a")["supervisors"] == ["consultant-1"]
    assert "broken" in text_of(placed.get("/lists"))


def test_leave_is_put_in_and_taken_off(placed: Visit, store: Store) -> None:
    sent = {"token": token(placed), "act": "add", "who": "consultant-1", "first": str(WEEK)}
    assert placed.post("/roster/leave/change", data=sent).status_code == 303
    assert str(WEEK) in document(store, "consultant-1")["leave"]
    on_leave = text_of(placed.get("/roster"))
    assert "On leave: consultant-1" in on_leave
    asked = placed.post("/roster/leave/change", data=sent | {"who": "trainer-1"})
    assert asked.status_code == 200 and "trainer-1 is on leave that day" in text_of(asked)
    assert "leave" not in document(store, "trainer-1")
    assert placed.post("/roster/leave/change", data=sent | {"who": "trainer-1", "sure": "yes"}).status_code == 303
    assert "1 rule broken" in text_of(placed.get("/lists"))
    assert placed.post("/roster/leave/change", data=sent | {"who": "trainer-1", "act": "off"}).status_code == 303
    assert "leave" not in document(store, "trainer-1")
    for wrong, says in (
        ({"first": ""}, "a day is missing"),
        ({"last": "2020-01-01"}, "ends before"),
        ({"who": "x"}, "nobody"),
    ):
        refused = placed.post("/roster/leave/change", data=sent | wrong)
        assert refused.status_code == 422 and says in text_of(refused)


# Files.


def test_a_file_is_looked_at_first_and_then_taken_whole(kept: Visit, store: Store) -> None:
    content = b"id,target\ntrainee-2,3\ntrainee-9,4\n"
    preview = upload(kept, "trainees.csv", content)
    told = text_of(preview)
    assert "0 new, 1 changed, 1 set aside" in told and "8 → 3" in told and "no trainee 'trainee-9'" in told
    mark = store.roster_mark()
    refused = confirm(kept, preview)
    assert refused.status_code == 422 and store.roster_mark() == mark
    assert confirm(kept, preview, the_rest="yes").status_code == 303
    assert document(store, "trainee-2")["target"] == 3
    [entry] = [one for one in store.roster() if one.key == "trainee-2"]
    assert entry.note == "taken from trainees.csv" and entry.by == "organiser-1"


def test_what_was_changed_since_the_preview_is_not_written_over(kept: Visit, store: Store) -> None:
    preview = upload(kept, "trainees.csv", b"id,target\ntrainee-2,3\ntrainee-3,3\n")
    save(kept, "trainee", "trainee-2", target="7")
    refused = confirm(kept, preview)
    assert refused.status_code == 409 and "changed this meanwhile" in text_of(refused)
    assert (document(store, "trainee-2")["target"], document(store, "trainee-3")["target"]) == (7, 8)


def test_leave_from_a_calendar_whose_people_are_named_on_the_page(kept: Visit, store: Store) -> None:
    day = f"{WEEK:%Y%m%d}"
    event = f"BEGIN:VEVENT\r\nUID:1\r\nSUMMARY:Dr Ash AL\r\nDTSTART;VALUE=DATE:{day}\r\nEND:VEVENT\r\n"
    calendar = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n{event}END:VCALENDAR\r\n".encode()
    preview = upload(kept, "leave.ics", calendar, what="leave")
    assert "Dr Ash AL" in text_of(preview) and "There is nothing to take" in text_of(preview)
    form = re.search(r'<form [^>]*action="/roster/take/look".*?</form>', preview.text, re.DOTALL)
    assert form
    sent = {
        name: html.unescape(value)
        for name, value in re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form[0])
    }
    again = kept.post("/roster/take/look", data=sent | {"code.1": "consultant-1"})
    assert "0 new, 1 changed, 0 set aside" in text_of(again)
    assert confirm(kept, again).status_code == 303
    assert str(WEEK) in document(store, "consultant-1")["leave"]


def test_a_file_that_is_none_is_refused_in_words(kept: Visit, store: Store) -> None:
    mark = store.roster_mark()
    for name, content, says in (
        ("x.xls", b"x", "save it as .xlsx"),
        ("x.xlsx", b"x", "is no workbook"),
        ("x.ics", b"x", "calendar"),
        ("trainees.csv", b"\xff\xfe\x00", "text"),
    ):
        refused = upload(kept, name, content, what="leave")
        assert refused.status_code == 422 and says in text_of(refused)
    nothing = kept.post("/roster/take/look", data={"token": token(kept)})
    assert nothing.status_code == 422 and "no file is chosen" in text_of(nothing)
    assert upload(kept, "big.csv", b"x" * 3_000_000).status_code == 413
    tampered = {"token": token(kept), "aside": "none", "name": "x", "changes": '[{"kind":"people"}]'}
    assert kept.post("/roster/take/enter", data=tampered).status_code == 422
    assert store.roster_mark() == mark


def test_the_exports_hold_the_roster(kept: Visit, store: Store, unit: Unit, rulebook: Rulebook, tmp_path) -> None:
    from planner.lists.roster.shapes import read_roster

    (tmp_path / "roster.yaml").write_bytes(kept.get("/roster/files/roster.yaml").content)
    assert read_roster(tmp_path / "roster.yaml", unit, rulebook) == check_entries(store.roster(), unit, rulebook).roster
    book = load_workbook(io.BytesIO(kept.get("/roster/files/roster.xlsx").content))
    assert [sheet.title for sheet in book][:3] == ["trainees", "supervisors", "sessions"]
    assert kept.get("/roster/files/sessions.ics").content.count(b"BEGIN:VEVENT") == 12
    assert kept.get("/roster/files/passwords.csv").status_code == 404


def test_consultants_read_and_do_not_change(kept: Visit, signed_in: SignIn, app: FastAPI) -> None:
    consultant = signed_in("consultant-1")
    for path in ("/roster", "/roster/people", "/roster/leave", "/roster/entry/session?key=tue-1-a"):
        page = consultant.get(path)
        assert page.status_code == 200 and ">Save<" not in page.text and "Take out of" not in page.text
    assert consultant.get("/roster/take/file").status_code == 403
    assert signed_in("trainee-3").get("/roster").status_code == 403
