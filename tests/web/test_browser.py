"""In a real browser: by keyboard alone, on a phone, without scripts, with a line that drops, and read by axe-core."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from decisions import entered, form_of
from playwright.sync_api import Browser, Page, Route, expect
from seeds import one_in
from seen_by_axe import DESK, PHONE, faults
from visits import Visit, sign_in

from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

FORM = "/cases/A-104/left"
# The machine that runs the tests may be busy.


@pytest.fixture
def opened(opened: Callable[..., Page]) -> Callable[..., Page]:
    """With scripts and for a trainee, as most here are."""
    return lambda size=DESK, scripts=True, person="trainee-3": opened(person, size, scripts)


@pytest.fixture
def case(store: Store) -> int:
    return store.new_case({"case": "A-104", "eye": "left"}, "trainee-3").case_id


def kept(store: Store, case: int) -> dict[str, object]:
    return dict(store.version(case).findings)


def saved(page: Page, part: str) -> None:
    expect(page.locator(f"#saved-{part}")).to_have_text(re.compile(r"^Saved \d\d:\d\d$"))


def test_a_case_is_entered_and_two_parts_filled_in_by_keyboard_alone(opened: Callable[..., Page], store: Store) -> None:
    page = opened()
    press = page.keyboard.press

    def reach(selector: str) -> None:
        """Tab on until the element has the focus, as whoever has no mouse does."""
        for _ in range(400):
            if page.evaluate("s => document.activeElement.matches(s)", selector):
                return
            press("Tab")
        raise AssertionError(f"{selector} is not reached by Tab")

    reach("a[href='/cases/new']")
    press("Enter")
    page.wait_for_url("**/cases/new")
    reach("#case")
    page.keyboard.type("A-104")
    reach("input[name=eye]")
    press("ArrowDown")
    reach("main button[type=submit]")
    press("Enter")
    page.wait_for_url(f"**{FORM}")
    expect(page.locator(".tier")).to_contain_text("Tier 4")
    reach("#f-age_years")
    page.keyboard.type("71")
    press("Tab")
    saved(page, "patient")
    reach("input[name='none.lens']:not([type=hidden])")
    press("Space")
    saved(page, "lens")
    reach("#f-opacity")
    press("ArrowDown")
    press("ArrowDown")
    # A white lens brings the question of its cortex.
    expect(page.locator("#q-cortex")).to_be_visible()
    case = store.find_case("A-104", "left")
    assert case is not None
    assert kept(store, case.id) == {"age_years": 71, "opacity": "total-white"}
    assert store.version(case.id).document["none_found_in"] == ["lens"]
    expect(page.locator("#side")).to_contain_text("White lens")


def test_the_focus_stays_visible_and_where_it_was_after_a_save(opened: Callable[..., Page], case: int) -> None:
    page = opened()
    page.goto(FORM)
    page.focus("#f-iop_mmhg")
    page.keyboard.type("18")
    page.keyboard.press("Tab")
    saved(page, "pressure-and-chamber")
    focused = page.locator("#f-iop_date")
    expect(focused).to_be_focused()
    expect(focused).to_have_css("outline-style", "solid")
    expect(focused).to_have_css("outline-width", "3px")


SCRIPTS = re.compile("htmx|saving")


def slowly(page: Page, at: str, what: re.Pattern[str] = SCRIPTS, number: int = 2) -> Callable[[], None]:
    """Opens the page as a slow line brings it, its scripts last; what is returned brings those."""
    held: list[Route] = []
    page.route(what, lambda route: held.append(route))
    page.goto(at, wait_until="commit")
    while len(held) < number:
        page.wait_for_timeout(20)

    def bring() -> None:
        for route in held:
            route.continue_()
        page.unroute(what)
        page.wait_for_load_state("load")

    return bring


def test_what_is_typed_before_the_scripts_have_come_is_saved(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened()
    bring = slowly(page, FORM)
    page.fill("#f-iop_mmhg", "16")
    page.check("#q-opacity input[value=total-white]")
    page.focus("#f-age_years")
    bring()
    saved(page, "pressure-and-chamber")
    assert kept(store, case) == {"iop_mmhg": 16, "opacity": "total-white"}


@pytest.mark.long
def test_a_box_ticked_before_the_scripts_have_come_is_saved(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened()
    bring = slowly(page, FORM)
    page.focus("input[name='none.lens']:not([type=hidden])")
    page.keyboard.press("Space")
    bring()
    saved(page, "lens")
    assert store.version(case).document["none_found_in"] == ["lens"]


@pytest.mark.long
def test_a_field_still_typed_in_when_the_scripts_come_waits_until_it_is_left(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened()
    bring = slowly(page, FORM)
    page.focus("#f-iop_mmhg")
    page.keyboard.type("1")
    bring()
    page.wait_for_timeout(1000)
    assert kept(store, case) == {}
    page.keyboard.type("6")
    page.keyboard.press("Tab")
    saved(page, "pressure-and-chamber")
    assert kept(store, case) == {"iop_mmhg": 16}


def test_a_page_not_touched_saves_nothing_by_itself(opened: Callable[..., Page], store: Store, case: int) -> None:
    before = store.version(case).number
    page = opened()
    page.goto(FORM)
    page.wait_for_timeout(1000)
    assert store.version(case).number == before
    expect(page.locator("#now")).to_be_empty()


def test_a_bad_value_stays_in_its_field_and_is_put_right(opened: Callable[..., Page], store: Store, case: int) -> None:
    page = opened()
    page.goto(FORM)
    page.fill("#f-axial_length_mm", "235")
    page.fill("#f-iop_mmhg", "18")
    page.keyboard.press("Tab")
    expect(page.locator("#not-saved")).to_contain_text("was 23.5 meant?")
    expect(page.locator("#f-axial_length_mm")).to_have_value("235")
    assert kept(store, case) == {"iop_mmhg": 18}
    page.click("#not-saved a")
    expect(page).to_have_url(re.compile("#f-axial_length_mm$"))
    assert page.evaluate("document.activeElement.id || location.hash") in ("f-axial_length_mm", "#f-axial_length_mm")
    page.fill("#f-axial_length_mm", "23.5")
    page.keyboard.press("Tab")
    expect(page.locator("#not-saved")).to_have_count(0)
    assert kept(store, case) == {"iop_mmhg": 18, "axial_length_mm": 23.5}


def test_a_dropped_line_loses_nothing_and_says_so(
    opened: Callable[..., Page], chromium: Browser, store: Store, case: int
) -> None:
    page = opened()
    page.goto(FORM)
    page.fill("#f-age_years", "70")
    page.keyboard.press("Tab")
    saved(page, "patient")
    page.context.set_offline(True)
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-patient")).to_contain_text("Not saved: the server did not answer. Trying again in")
    expect(page.locator("#f-age_years")).to_have_value("71")
    # Another browser sees what was last acknowledged, and nothing else.
    other = opened(person="trainee-5")
    other.goto(FORM)
    expect(other.locator("#f-age_years")).to_have_value("70")
    page.context.set_offline(False)
    saved(page, "patient")
    assert kept(store, case) == {"age_years": 71}
    other.reload()
    expect(other.locator("#f-age_years")).to_have_value("71")


def test_typing_on_while_a_save_is_under_way_keeps_every_letter(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened()
    page.goto(FORM)

    def slowly(route: object) -> None:
        page.wait_for_timeout(700)
        route.continue_()  # type: ignore[attr-defined]

    page.route(f"**{FORM}", slowly)
    page.fill("#f-iop_mmhg", "18")
    page.keyboard.press("Tab")
    page.wait_for_timeout(300)
    page.focus("#f-axial_length_mm")
    page.keyboard.type("23.5", delay=150)
    page.check("#q-vitreous_in_chamber input[value=no]")
    page.wait_for_timeout(400)
    page.focus("#f-anterior_chamber_depth_mm")
    page.keyboard.type("3.1", delay=50)
    page.keyboard.press("Tab")
    expected = {"iop_mmhg": 18, "axial_length_mm": 23.5, "vitreous_in_chamber": "no", "anterior_chamber_depth_mm": 3.1}
    for _ in range(100):
        if kept(store, case) == expected:
            break
        page.wait_for_timeout(200)
    assert kept(store, case) == expected
    expect(page.locator("#conflict form")).to_have_count(0)


def test_two_editors_choose_in_the_page(opened: Callable[..., Page], store: Store, case: int) -> None:
    page = opened()
    page.goto(FORM)
    store.save_case(case, 1, {"dilated_pupil_mm": 4}, "consultant-1")
    page.fill("#f-dilated_pupil_mm", "7")
    page.keyboard.press("Tab")
    expect(page.locator("#conflict")).to_contain_text("consultant-1 saved this case")
    expect(page.locator("#conflict-head")).to_be_focused()
    page.check("#conflict input[value=mine]")
    page.click("#conflict button")
    page.wait_for_url("**saved=case*")
    assert kept(store, case) == {"dilated_pupil_mm": 7}


@pytest.mark.long
def test_signing_in_again_elsewhere_lets_an_open_page_save(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened()
    page.goto(FORM)
    second = page.context.new_page()
    second.goto("/cases")
    second.click("text=Sign out")
    second.wait_for_url("**/sign-in")
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    expect(page.locator("#saved-patient")).to_contain_text("you are signed out")
    sign_in(second, "trainee-3")
    second.wait_for_url("**/cases")
    page.click("#patient button[type=submit]")
    saved(page, "patient")
    assert kept(store, case) == {"age_years": 71}


@pytest.mark.parametrize("late", one_in(2, [False, True]), ids=["", "scripts-come-late"])
def test_what_is_typed_over_an_approval_is_neither_saved_nor_left_without_a_word(
    opened: Callable[..., Page], store: Store, rulebook: Rulebook, signed_in: Callable[[str], Visit], late: bool
) -> None:
    decided = store.case(entered(store, rulebook, "routine"))
    form = f"/cases/{decided.reference}/{decided.eye}"
    trainee = signed_in("trainee-3")
    trainee.post(f"{form}/submit", data={"token": trainee.token(f"{form}/plan"), "version": "1"})
    page, asked = opened(), []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    bring = slowly(page, form)
    if not late:
        bring()
    page.fill("#f-age_years", "80")
    if late:
        bring()
    expect(page.locator("#now")).to_have_text("Not saved yet: press Save.")
    with page.expect_event("dialog"):
        page.evaluate("location.assign('/cases')")
    page.wait_for_timeout(500)
    assert asked == ["beforeunload"] and page.url.endswith(form)
    assert store.version(decided.id).number == 1
    page.click("[data-part=patient] button[type=submit] >> nth=0")
    page.wait_for_url("**saved=patient*")
    assert len(asked) == 1 and store.version(decided.id).findings["age_years"] == 80


def test_the_main_path_needs_no_script(opened: Callable[..., Page], store: Store) -> None:
    page = opened(scripts=False)
    page.click("text=New case")
    page.fill("#case", "A-104")
    page.check("input[value=left]")
    page.click("text=Enter the case")
    page.fill("#f-age_years", "71")
    page.check("#q-opacity input[value=total-white]")
    page.click("#lens button[type=submit]")
    page.wait_for_url("**saved=lens*")
    expect(page.locator("#saved-lens")).to_contain_text("Saved")
    expect(page.locator("#q-cortex")).to_be_visible()
    page.fill("#f-axial_length_mm", "235")
    page.click("#lens button[type=submit]")
    expect(page.locator("#not-saved")).to_contain_text("was 23.5 meant?")
    page.fill("#f-axial_length_mm", "23.5")
    page.click("#lens button[type=submit]")
    page.wait_for_url("**saved=lens*")
    page.click("text=Plan and submitting")
    page.click("text=Submit for approval")
    expect(page.locator("main")).to_contain_text("Waits for approval")
    assert len(store.waiting()) == 1


PRESSED = "button, .button, .option, nav a, summary, select, textarea, input[type=text], input[type=date], #password"
PAGES = ("/cases", "/cases/new", FORM, FORM + "/plan", "/nothing")


@pytest.mark.parametrize("size", one_in(2, [PHONE, DESK]), ids=["phone", "desk"])
def test_no_page_scrolls_sideways_or_has_a_fault(
    opened: Callable[..., Page], store: Store, size: tuple[int, int]
) -> None:
    findings = {"opacity": "total-white", "axial_length_mm": 36, "anticoagulant": ["warfarin"], "urgency": "soon"}
    findings |= {"biometry_reference": "B-1" + "w" * 57}
    long = "W" * 30 + " 2026-" + "9" * 24
    for reference in ("A-104", long):
        store.new_case(
            {"case": reference, "eye": "left", "findings": findings, "none_found_in": ["history"]}, "trainee-3"
        )
    page = opened(size)
    wrong: list[str] = []

    def look(name: str) -> None:
        wrong.extend(faults(page, name))

    for at in (*PAGES, f"/cases/{long}/left", f"/cases/{long}/left/plan", f"/cases/{long}/left/plan.html"):
        page.goto(at)
        look(at[:30])
    page.goto(FORM)
    page.fill("#f-iop_mmhg", "999")
    page.keyboard.press("Tab")
    expect(page.locator("#not-saved")).to_be_visible()
    look("a refused value")
    page.goto("/cases/new")
    page.click("text=Enter the case")
    expect(page.locator(".trouble")).to_be_visible()
    look("a refused case")
    page.click("text=Sign out")
    page.wait_for_url("**/sign-in")
    look("sign-in")
    page.fill("#code", "trainee-3")
    page.fill("#password", "wrong")
    page.keyboard.press("Enter")
    expect(page.locator(".trouble")).to_be_visible()
    look("refused sign-in")
    assert wrong == []


def test_notices_to_a_consultant_do_not_widen_a_phones_page(
    opened: Callable[..., Page], store: Store, rulebook: Rulebook, signed_in: Callable[[str], Visit]
) -> None:
    decided = store.case(entered(store, rulebook, "routine"))
    form = f"/cases/{decided.reference}/{decided.eye}"
    trainee, consultant = signed_in("trainee-3"), signed_in("consultant-1")
    trainee.post(f"{form}/submit", data={"token": trainee.token(f"{form}/plan"), "version": "1"})
    path = form.replace("/cases/", "/approvals/")
    consultant.post(path, data=form_of(consultant, path, "Approve as named, tier"))
    store.save_case(decided.id, 1, {"age_years": 80}, "trainee-3", seen=store.case_now(decided.id).seen)
    page = opened(PHONE, person="consultant-1")
    for at in ("/cases", "/approvals", "/lists"):
        page.goto(at)
        expect(page.locator("nav strong")).to_contain_text("notice")
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0], at


# W3C Layout Instability: the sum of how much of what was in sight moved, and how far.
SHIFTS = """new Promise(done => {
    let sum = 0;
    const seen = list => list.getEntries().forEach(one => { sum += one.value; });
    new PerformanceObserver(seen).observe({type: "layout-shift", buffered: true});
    setTimeout(() => done(sum), 500);
})"""


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.long
def test_a_page_does_not_move_when_letters_and_scripts_come_late(
    opened: Callable[..., Page], case: int, size: tuple[int, int]
) -> None:
    page = opened(size)
    moved = {}
    for at, late in ((FORM, 5), ("/cases", 3), (FORM + "/plan", 3)):
        bring = slowly(page, at, re.compile("woff2|htmx|saving"), late)
        page.wait_for_timeout(300)
        bring()
        moved[at] = page.evaluate(SHIFTS)
    assert all(shift < 0.01 for shift in moved.values()), moved


def test_axe_finds_what_is_planted(opened: Callable[..., Page]) -> None:
    page = opened()
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<input><img src=\"data:,\">')")
    assert {"label:", "image-alt:"} <= {fault.split()[2] for fault in faults(page, "planted")}


@pytest.mark.parametrize("size", one_in(2, [PHONE, DESK]), ids=["phone", "desk"])
def test_what_is_pressed_is_at_least_44_pixels(opened: Callable[..., Page], case: int, size: tuple[int, int]) -> None:
    page = opened(size)
    small = []
    for at in PAGES:
        page.goto(at)
        small += page.evaluate(
            """selector => [...document.querySelectorAll(selector)].filter(e => e.offsetParent)
            .map(e => [location.pathname, e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
            .filter(([, , r]) => r.height < 44 || r.width < 44).map(([at, t, r]) => [at, t, r.width, r.height])""",
            PRESSED,
        )
    assert small == []


def test_no_page_breaks_its_own_policy(opened: Callable[..., Page], case: int) -> None:
    page = opened()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    for at in ("/cases", "/cases/new", FORM, FORM + "/plan", FORM + "/plan.html"):
        page.goto(at)
        page.wait_for_load_state("networkidle")
    page.goto(FORM)
    page.fill("#f-age_years", "71")
    page.keyboard.press("Tab")
    saved(page, "patient")
    assert said == []


def test_without_scripts_what_was_typed_outlives_the_session(
    opened: Callable[..., Page], store: Store, case: int
) -> None:
    page = opened(scripts=False)
    page.goto(FORM)
    page.fill("#f-age_years", "71")
    second = page.context.new_page()
    second.goto("/cases")
    second.click("text=Sign out")
    second.wait_for_url("**/sign-in")
    page.click("#patient button[type=submit]")
    expect(page.locator("h1")).to_contain_text("you are signed out")
    sign_in(second, "trainee-3")
    second.wait_for_url("**/cases")
    page.click("text=Send it again")
    expect(page.locator("main")).to_contain_text("It will be saved as yours, trainee-3")
    page.click("text=Send it again")
    page.wait_for_url("**saved=patient*")
    assert kept(store, case) == {"age_years": 71}
