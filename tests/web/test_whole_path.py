"""One case through all three people's hands in a real browser, over `planner serve`, on either kind of database."""

from __future__ import annotations

import contextlib
import datetime
import io
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader
from served import serving, staffed
from visits import sign_in

from planner.records.database import URL_VARIABLE

TODAY = datetime.date.today()
DAY = TODAY + datetime.timedelta(days=2)
# The machine that runs the tests may be busy.


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.long)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'planner.db'}"
    made: str = request.getfixturevalue("database_url")
    return made


@pytest.fixture
def browse(url: str, tmp_path: Path, chromium: Browser) -> Iterator[Callable[[str], Page]]:
    """A browser of each person's own, signed in."""
    staffed(url).close()
    with serving(url, tmp_path) as (address, _), contextlib.ExitStack() as ends:

        def start(person: str) -> Page:
            context = chromium.new_context(base_url=address)
            ends.callback(context.close)
            page = context.new_page()
            page.set_default_timeout(60_000)
            page.goto("/")
            sign_in(page, person)
            page.wait_for_url("**/cases")
            return page

        yield start


@pytest.mark.long
def test_from_the_form_to_a_place_on_a_list(browse: Callable[[str], Page], url: str, tmp_path: Path) -> None:
    trainee = browse("trainee-3")
    trainee.click("text=New case")
    trainee.fill("#case", "A-104")
    trainee.check("input[value=left]")
    trainee.click("text=Enter the case")
    trainee.fill("#f-iop_mmhg", "16")
    trainee.fill("#f-iop_date", TODAY.isoformat())
    trainee.keyboard.press("Tab")
    expect(trainee.locator("#saved-pressure-and-chamber")).to_contain_text("Saved")
    trainee.check("#q-opacity input[value=total-white]")
    trainee.keyboard.press("Tab")
    expect(trainee.locator("#saved-lens")).to_contain_text("Saved")
    expect(trainee.locator("#side")).to_contain_text("White lens")
    trainee.click("text=Plan and submitting")
    # Until the page is whole its parts still move, and a click may fall beside the button.
    trainee.wait_for_url("**/plan")
    trainee.get_by_role("button", name="Submit for approval").press("Enter")
    expect(trainee.locator("main")).to_contain_text("Waits for approval")

    consultant = browse("consultant-1")
    consultant.click("text=Approvals")
    # The cases, which were shown before, name it too.
    consultant.wait_for_url("**/approvals")
    consultant.click("text=A-104")
    expect(consultant.locator(".eye-block")).to_have_text("LEFT EYE")
    consultant.fill("#conditions", "dye in the room")
    consultant.click("text=/^Approve for the table, tier/")
    expect(consultant.locator("#given")).to_contain_text("approved by consultant-1")

    organiser = browse("organiser-1")
    organiser.goto("/lists/place/A-104/left")
    organiser.fill("#day", DAY.isoformat())
    organiser.fill("#theatre", "theatre 2")
    organiser.select_option("#supervisor", "consultant-1")
    organiser.select_option("#trainee", "trainee-3")
    organiser.click("text=Put LEFT EYE on the list")
    organiser.wait_for_url(f"**/lists/{DAY}")
    expect(organiser.locator("main")).to_contain_text("A-104")

    trainee.goto("/notices")
    expect(trainee.locator("main")).to_contain_text("theatre 2")
    printed = trainee.context.request.get("/cases/A-104/left/plan.pdf", timeout=120_000)
    assert printed.status == 200
    front = PdfReader(io.BytesIO(printed.body())).pages[0].extract_text()
    assert "LEFT" in front and "Person 1" in front and "dye in the room" in front.lower()

    verify = [sys.executable, "-m", "planner", "records", "verify"]
    ran = subprocess.run(verify, env=os.environ | {URL_VARIABLE: url}, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
