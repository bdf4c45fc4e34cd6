"""The organiser's roster in a real browser: filled in, changed, taken out, taken from a file; axe at each page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from seen_by_axe import DESK, PHONE, faults

from planner.records.store import Store
from planner.wording.words import day_words

Opened = Callable[..., Page]


pytestmark = pytest.mark.with_lists


def taken(page: Page) -> None:
    """The sessions file that the server was given, taken into the store."""
    page.goto("/roster")
    page.get_by_role("button", name="Take these into the store").click()
    page.get_by_role("button", name=re.compile(r"Take \d+ entries")).click()
    expect(page.locator("main")).to_contain_text("The sessions file that the server was given is not asked")


def test_an_organiser_keeps_the_roster_by_hand(opened: Opened, store: Store, tmp_path: Path) -> None:
    page = opened("organiser-1")
    taken(page)
    page.get_by_role("link", name=re.compile("theatre 1")).first.click()
    page.fill("#minutes", "200")
    page.get_by_label("Counted kit 3, which").select_option("pupil-ring")
    page.get_by_label("Counted kit 3, sets").fill("2")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("main")).to_contain_text("pupil-ring: sets 2")
    [entry] = [one for one in store.roster() if one.key == "tue-1-a"]
    assert entry.document["minutes"] == 200 and entry.document["kit"]["pupil-ring"] == {"sets": 2}

    page.get_by_role("link", name="Leave", exact=True).click()
    page.select_option("#who", "trainer-1")
    page.fill("#first", str(entry.document["day"]))
    page.get_by_role("button", name="Put in").click()
    day = day_words(str(entry.document["day"]))
    expect(page.get_by_role("button", name=f"Take off the leave of trainer-1, {day}")).to_be_visible()
    page.get_by_role("link", name="Sessions", exact=True).click()
    expect(page.locator("main")).to_contain_text("On leave: trainer-1")

    page.get_by_role("link", name="People", exact=True).click()
    expect(page).to_have_url(re.compile("/roster/people$"))
    page.get_by_role("link", name="trainer-1").click()
    page.get_by_role("button", name="Take out of the roster").click()
    expect(page.locator("main")).to_contain_text("Comes off these too")
    page.get_by_label("Why").fill("left the unit")
    page.get_by_role("button", name="Take it out").click()
    page.get_by_text("Retired: 1").click()
    page.get_by_role("link", name="supervisor trainer-1").click()
    page.get_by_role("button", name="Bring back version 1").click()
    expect(page).to_have_url(re.compile("/roster/people$"))
    expect(page.get_by_role("link", name="trainer-1")).to_be_visible()

    (tmp_path / "trainees.csv").write_text("id,target\ntrainee-2,3\ntrainee-9,4\n")
    page.get_by_role("link", name="From a file, to a file").click()
    page.set_input_files("#file", tmp_path / "trainees.csv")
    page.get_by_role("button", name="Look at what it says").click()
    expect(page.locator("main")).to_contain_text("no trainee 'trainee-9'")
    page.get_by_label(re.compile("leave out what is set aside")).check()
    page.get_by_role("button", name="Take 1 entry").click()
    expect(page).to_have_url(re.compile("/roster$"))
    page.get_by_role("link", name="Targets", exact=True).click()
    expect(page.locator("tr", has_text="trainee-2")).to_contain_text("3")
    store.verify()


@pytest.mark.parametrize("size", [pytest.param(DESK, marks=pytest.mark.long), PHONE], ids=["desk", "phone"])
def test_the_pages_fit_and_axe_finds_nothing(opened: Opened, size: tuple[int, int], tmp_path: Path) -> None:
    page = opened("organiser-1", size, scripts=True)
    wrong: list[str] = []
    page.goto("/roster")
    wrong += faults(page, "the served file")
    taken(page)
    forms = [f"/roster/entry/{kind}" for kind in ("trainee", "supervisor", "session", "patient", "limits", "wishes")]
    known = ["/roster/entry/session?key=tue-1-a", "/roster/entry/trainee?key=trainee-2"]
    views = [f"/roster/{view}" for view in ("people", "leave", "targets", "kit", "patients", "limits")]
    for address in ("/roster", *views, *forms, *known, "/roster/take/file"):
        page.goto(address)
        wrong += faults(page, address)
    page.goto(known[0])
    page.fill("#minutes", "9999")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("main")).to_contain_text("Not saved")
    wrong += faults(page, "a fault")
    page.goto(known[0])
    page.get_by_role("button", name="Take out of the roster").click()
    expect(page.locator("main")).to_contain_text("No placing from today on")
    wrong += faults(page, "what hangs on it")
    (tmp_path / "leave.ics").write_bytes(
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nSUMMARY:Dr Ash AL\r\n"
        b"DTSTART;VALUE=DATE:20991224\r\n"
        b"END:VEVENT\r\nBEGIN:VEVENT\r\nUID:2\r\nSUMMARY:trainer-1\r\nDTSTART;VALUE=DATE:20991224\r\nEND:VEVENT\r\n"
        b"END:VCALENDAR\r\n"
    )
    page.goto("/roster/take/file")
    page.set_input_files("#file", tmp_path / "leave.ics")
    page.get_by_role("button", name="Look at what it says").click()
    expect(page.locator("main")).to_contain_text("Whom these name")
    wrong += faults(page, "what a file says")
    assert wrong == []
