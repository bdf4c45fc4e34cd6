"""The organiser's morning in a real browser, without scripts: fill a list, move, lock, match again, publish, print."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader
from seen_by_axe import DESK, PHONE, faults

LIST = "/lists/session/tue-1-a"
SEARCH = 240_000  # milliseconds that a click may wait for lists that are searched for on a busy machine
Opened = Callable[..., Page]


pytestmark = pytest.mark.with_lists


def order(page: Page) -> list[str]:
    """The cases of a list whose page is known to have come, in their order, once the whole of it is there."""
    page.wait_for_load_state("load")
    return [text.split()[-1] for text in page.locator("tbody th a").all_inner_texts()]


def expect_order(page: Page, *cases: str) -> None:
    """Waits for the list with these cases in this order, and no others."""
    expect(page.locator("tbody th a")).to_have_text([re.compile(rf"\s{case}\s*$") for case in cases])


def place(page: Page, case: str, session: str, who: str) -> None:
    page.goto("/lists")
    page.get_by_role("link", name=f"Place {case}", exact=True).click()
    page.get_by_role("button", name=f"Place {case}, in {session}: {who}").first.click()
    expect(page).to_have_url(re.compile(f"/lists/session/{session}$"))


def test_a_morning_of_the_organiser(opened: Opened) -> None:
    page = opened("organiser-1")
    place(page, "L-401, right eye", "tue-1-a", "trainee-")
    expect(page).to_have_url(re.compile(LIST))
    expect(page.locator("#t-verdict")).to_have_text("Every rule kept")
    place(page, "L-414, left eye", "tue-1-a", "trainee-5 operates, consultant-1 scrubbed")
    place(page, "L-402, left eye", "tue-1-a", "trainee-")
    expect_order(page, "L-401", "L-414", "L-402")

    page.get_by_role("button", name="Up L-402, left eye one place").click()
    expect_order(page, "L-401", "L-402", "L-414")
    expect(page.locator("main")).to_contain_text("Could be mixed up")

    # What breaks a rule is said before it is entered.
    page.goto("/lists/place/L-414/left")
    page.get_by_text("Other people than these").click()
    page.select_option("#trainee", "trainee-2")
    page.select_option("#supervisor", "trainer-1")
    page.get_by_role("button", name="Place there").click()
    expect(page.locator("main")).to_contain_text("trainer-1 is a trainer. Ask a consultant to approve it so")
    page.get_by_role("link", name="Back to the list").click()
    expect(page).to_have_url(re.compile(f"{LIST}$"))
    expect_order(page, "L-401", "L-402", "L-414")

    page.get_by_text("More for L-414, left eye").click()
    page.get_by_label("Why it stays").last.fill("consultant-1 asked for it")
    page.get_by_role("button", name="Lock in its place L-414").click()
    expect(page.locator("main")).to_contain_text("Locked: consultant-1 asked for it")

    page.goto("/lists")
    page.get_by_role("button", name="Match all again, except what is locked").click(timeout=SEARCH)
    expect(page.locator("main")).to_contain_text("Nothing is entered yet")
    page.wait_for_load_state("load")
    expect(page.locator("tbody th").first).to_be_visible()
    expect(page.locator("tbody th", has_text="L-414")).to_have_count(0)
    page.get_by_role("button", name=re.compile("^Accept")).click()
    expect(page).to_have_url(re.compile("/lists$"))
    page.goto(LIST)
    assert "L-414" in order(page)
    expect(page.locator("#t-verdict")).to_have_text("Every rule kept")

    page.fill("#note", "first version")
    page.get_by_role("button", name="Publish version 1").click()
    expect(page.locator("main")).to_contain_text("published, version 1")
    first = order(page)
    page.get_by_role("button", name=re.compile(f"^Down {first[0]}")).click()
    expect(page.locator("tbody")).to_contain_text("OTHER PLACE")
    expect(page.locator("main")).to_contain_text("1 change since")
    printed = page.context.request.get(f"{LIST}/brief.pdf", timeout=120_000).body()
    text = " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(printed)).pages).split())
    assert "OTHER PLACE" in text and all(reference in text for reference in first)

    page.get_by_text(f"More for {first[0]}").click()
    row = page.locator("tr", has_text=first[0])
    row.get_by_label("Reason").select_option("did not come")
    row.get_by_role("button", name=re.compile("^Take off")).click()
    expect(page.locator("main")).to_contain_text(f"OFF since version 1: {first[0]}")


@pytest.mark.parametrize("size", [pytest.param(DESK, marks=pytest.mark.long), PHONE], ids=["desk", "phone"])
def test_the_pages_fit_and_axe_finds_nothing(opened: Opened, size: tuple[int, int]) -> None:
    page = opened("organiser-1", size, scripts=True)
    place(page, "L-401, right eye", "tue-1-a", "trainee-")
    page.get_by_role("button", name="Publish version 1").click()
    expect(page.locator("main")).to_contain_text("published, version 1")
    page.get_by_text("More for L-401, right eye").click()
    addresses = [
        "/lists",
        "/lists/orders",
        LIST,
        f"{LIST}/version/1",
        "/lists/place/L-402/left",
        "/lists/place/L-420/right",
    ]
    wrong: list[str] = []

    def look(name: str) -> None:
        wrong.extend(faults(page, name))

    look("session with its reasons open")
    for address in addresses:
        page.goto(address)
        look(address)
    page.goto("/lists")
    page.get_by_role("button", name="Propose places for waiting cases").click(timeout=SEARCH)
    expect(page.locator("main")).to_contain_text("Nothing is entered yet")
    look("proposal")
    page.goto("/lists/place/L-420/right")
    page.get_by_role("button", name=re.compile("^Place all the same")).first.click()
    expect(page.locator("main")).to_contain_text("This would break")
    look("what would break")
    page.goto(LIST)
    page.get_by_text("Something happened this morning").click()
    look("what happened this morning")
    page.check("#lost")
    page.fill("#because", "no water")
    page.get_by_role("button", name="Show the smallest change").click(timeout=SEARCH)
    expect(page.locator("main")).to_contain_text("Nobody loses a place. 1 case goes to another session.")
    look("the smallest change")
    assert wrong == []
