"""The consultant's and the organiser's whole paths in a real browser, and their pages read by axe-core."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable

import pytest
from decisions import entered, form_of
from playwright.sync_api import Page, expect
from pypdf import PdfReader
from seen_by_axe import DESK, PHONE, faults
from visits import Visit

from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

SOON = datetime.date.today() + datetime.timedelta(days=7)
FRESH = {"iop_date": datetime.date.today().isoformat(), "biometry_date": datetime.date.today().isoformat()}
LONG = "W" * 30 + " 2026-" + "9" * 24
# The machine that runs the tests may be busy.

Opened = Callable[..., Page]
SignIn = Callable[[str], Visit]


@pytest.fixture
def waiting(store: Store, signed_in: SignIn, rulebook: Rulebook) -> Callable[..., str]:
    """Submit a demonstration case; where its consultant decides on it."""

    def submit(name: str, **headings: str) -> str:
        case = store.case(entered(store, rulebook, name, **headings))
        version = store.save_case(case.id, 1, FRESH, "trainee-3")
        visit = signed_in("trainee-3")
        at = f"/cases/{case.reference}/{case.eye}"
        answer = visit.post(
            f"{at}/submit", data={"token": visit.token("/cases"), "version": str(version.number), "note": "see depth"}
        )
        assert answer.status_code == 303
        return f"/approvals/{case.reference}/{case.eye}"

    return submit


def test_a_consultant_overrides_with_a_reason_and_both_tiers_print(
    opened: Opened, waiting: Callable[..., str], rulebook: Rulebook
) -> None:
    """Without scripts, as every page of theirs must be usable."""
    path = waiting("routine")
    page = opened("consultant-1")
    page.click("text=Approvals")
    # The cases, which were shown before, name it too.
    page.wait_for_url("**/approvals")
    page.click("text=H-101")
    expect(page.locator("#t-tier")).to_have_text("Tier 1")
    page.click("#change")
    page.click(".tiers >> text=Tier 3")
    expect(page.locator("#change-box")).to_contain_text("Tier 3; by the rulebook tier 1")
    page.check("input[name='who.incisions'][value=supervisor]")
    page.fill("#reason", "the fellow eye lost its pupil at once")
    page.click("text=Approve as changed, as named, tier 3, RIGHT EYE")
    expect(page.locator("#given")).to_contain_text("Tier 3 approved by consultant-1")
    expect(page.locator("#given")).to_contain_text("by the rulebook tier 1")
    address = path.replace("/approvals/", "/cases/") + "/plan.pdf"
    printed = page.context.request.get(address, timeout=120_000).body()
    front = " ".join(PdfReader(io.BytesIO(printed)).pages[0].extract_text().split())
    assert "Tier 3" in front and "by the rulebook tier 1" in front and "Tier approved 3" in front
    assert "The fellow eye lost its pupil at once." in front and "Person 1" in front
    incisions = next(step.label for step in rulebook.steps if step.id == "incisions")
    text = " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(printed)).pages).split())
    assert f"{incisions} SUPERVISOR" in text


def test_a_case_that_changed_under_the_consultants_eyes_is_not_approved(
    opened: Opened, waiting: Callable[..., str], store: Store
) -> None:
    page = opened("consultant-1")
    page.goto(waiting("routine"))
    page.fill("#conditions", "dye in the room")
    [now] = store.waiting()
    store.save_case(now.case.id, now.version.number, {"phacodonesis": "yes"}, "consultant-2", seen=now.seen)
    page.click("text=Approve as named, tier 1, RIGHT EYE")
    main = page.locator("main")
    expect(main).to_contain_text("Not done: the case has a newer version")
    expect(main).to_contain_text(f"consultant-2 saved version {now.version.number + 1}")
    expect(main).to_contain_text("Tier: 1 → 4")
    expect(main).to_contain_text("dye in the room")
    assert store.case_now(now.case.id).approval is None
    page.click("text=Look at it again as it is now")
    expect(page.locator("main")).to_contain_text("Tier 4")
    expect(page.locator("main")).to_contain_text("It is not before a consultant.")


def approve(signed_in: SignIn, path: str) -> None:
    visit = signed_in("consultant-1")
    assert visit.post(path, data=form_of(visit, path, "Approve as named, tier")).status_code == 303


def test_an_organiser_narrows_places_and_takes_off(
    opened: Opened, waiting: Callable[..., str], signed_in: SignIn, store: Store
) -> None:
    for name in ("routine", "tense-white"):
        approve(signed_in, waiting(name))
    page = opened("organiser-1")
    page.click("nav >> text=Lists")
    page.select_option("#kit", "trypan-blue")
    page.click("text=Show")
    expect(page.locator(".cases tbody tr")).to_have_count(1)
    page.click(".cases td a.button")
    page.fill("#day", SOON.isoformat())
    page.fill("#theatre", "Theatre 2")
    page.select_option("#trainee", "trainee-5")
    page.select_option("#supervisor", "trainee-3")
    page.click("text=Put RIGHT EYE on the list")
    page.wait_for_url(f"**/lists/{SOON}")
    expect(page.locator(".cases")).to_contain_text("H-102")
    expect(page.locator(".doubt")).to_contain_text("Supervision asks for a consultant")
    [now] = store.list_of(SOON)
    assert now.allocation is not None and (now.allocation.trainee, now.allocation.supervisor) == (
        "trainee-5",
        "trainee-3",
    )
    page.click("summary >> text=Take off")
    page.fill(".off input[name=why]", "no second theatre")
    page.click(".off button")
    expect(page.locator("main")).to_contain_text("No case has a place on that day.")
    assert store.list_of(SOON) == ()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_no_page_scrolls_sideways_or_has_a_fault(
    opened: Opened, waiting: Callable[..., str], signed_in: SignIn, store: Store, size: tuple[int, int]
) -> None:
    hard, easy = waiting("white-cortex-not-recorded"), waiting("routine")
    long = waiting("half-filled", case=LONG)
    back, placed = waiting("small-pupil"), waiting("tense-white")
    approve(signed_in, easy)
    approve(signed_in, placed)
    visit = signed_in("consultant-1")
    visit.post(f"{back}/send-back", data=form_of(visit, back, "Send back") | {"text": "how far does it open? " * 9})
    now = next(now for now in store.cases(state="approved") if now.case.reference == "H-102")
    store.allocate(now.case.id, SOON, "Theatre 2", 1, "trainee-3", "organiser-1", "trainee-5")
    wrong: list[str] = []

    def look(page: Page, at: str) -> None:
        page.goto(at)
        wrong.extend(faults(page, at[:40]))

    page = opened("consultant-1", size, scripts=True)
    for at in ("/approvals", hard, f"{hard}?tier=4", long, f"{long}?tier=2", easy, back, "/notices"):
        look(page, at)
    page = opened("organiser-1", size, scripts=True)
    place = easy.replace("/approvals/", "/lists/place/")
    for at in ("/lists", "/lists?tier=4", place, f"/lists/{SOON}", "/lists/2026-01-01", "/notices"):
        look(page, at)
    look(opened("trainee-3", size, scripts=True), "/notices")
    assert wrong == []
