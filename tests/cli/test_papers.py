"""A day's papers: every plan that stands, in its order, and every one that does not named on the first page."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import outloud
import page
import pytest
from commands import Ran
from decisions import entered
from pypdf import PdfReader

from planner.assess.assess import assess
from planner.case import read_case
from planner.documents.json_form import plan_json
from planner.documents.plan.view import PlanView
from planner.documents.printing import html
from planner.plan.make import make_plan
from planner.records.rows import Seen, StepChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.wording.words import day_words

DAY = datetime.date(2026, 12, 3)
UNIT = Path(__file__).parents[2] / "demo_cases" / "unit.yaml"
FRESH = {"iop_date": "2026-11-20", "biometry_date": "2026-11-20"}


@pytest.fixture
def store(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    url = f"sqlite:///{folder / 'planner.db'}"
    monkeypatch.setenv("PLANNER_DATABASE_URL", url)
    opened = Store.open(url)
    for code, role in {
        "trainee-3": "trainee", "trainee-5": "trainee", "consultant-1": "consultant", "organiser-1": "organiser",
    }.items():  # fmt: skip
        opened.add_person(code, f"Invented {code}", role, "command-line")
    yield opened
    opened.close()


def listed(
    store: Store,
    rulebook: Rulebook,
    name: str,
    theatre: str,
    order: int,
    tier: int | None = None,
    **findings: Any,
) -> int:
    """A demonstration case approved and given its place."""
    case = entered(store, rulebook, name)
    version = store.save_case(case, 1, FRESH | findings, "trainee-3")
    plan = make_plan(assess(read_case(dict(version.document), rulebook.vocabulary), rulebook), rulebook)
    kept = store.keep_snapshot(case, version.number, plan_json(plan), "trainee-3")
    waits = Seen(store.submit(case, version.number, kept.id, "trainee-3").id)
    steps = [StepChange("nucleus", "supervisor")] if tier else []
    store.approve(
        case, version.number, kept.id, "consultant-1", tier or plan.assessment.tier.working, plan.supervision.mode,
        steps, "pressure below 21", "a first time" if tier else "", "as-named" if steps else "table",
        seen=waits,
    )  # fmt: skip
    store.allocate(case, DAY, theatre, order, "consultant-1", "organiser-1", "trainee-5")
    return case


def pages(file: Path) -> list[str]:
    return [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(file.read_bytes())).pages]


def test_every_approved_plan_of_the_day_is_in_one_pdf_in_its_order(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook, tmp_path: Path
) -> None:
    listed(store, rulebook, "tense-white", "Theatre 2", 1, tier=4)
    listed(store, rulebook, "shallow-chamber", "Theatre 1", 2)
    listed(store, rulebook, "routine", "Theatre 1", 1)
    entered(store, rulebook, "posterior-polar")
    ran = planner("papers", "--day", DAY, "--unit", UNIT)
    file = folder / f"papers-{DAY}.pdf"
    assert (ran.code, ran.out) == (0, "") and f"wrote {file.name}: 3 of 3 plans" in ran.err
    first, *plans = pages(file)
    assert "Thursday 3 December 2026" in first and "Harbour Eye Unit" in first
    assert "Each theatre sheet is followed by its preparation." in first
    assert [first.index(reference) for reference in ("H-101", "H-108", "H-102")] == sorted(
        first.index(reference) for reference in ("H-101", "H-108", "H-102")
    )
    assert "trainee-5" in first and "4, Approved so; by the rulebook tier 3" in first and "H-117" not in first
    starts = [number for number, text in enumerate(plans) if re.search(r"page 1 of \d", text)]
    assert [re.search(r"H-\d+", plans[number])[0] for number in starts] == ["H-101", "H-108", "H-102"]  # type: ignore[index]
    white = " ".join(plans[starts[2] :])
    assert "Invented consultant-1" in white and "A first time. On condition: pressure below 21" in white
    assert f"on {len(plans)} pages" in first


@pytest.mark.long
def test_the_papers_are_pdf_ua_as_each_plan_is(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook
) -> None:
    listed(store, rulebook, "routine", "Theatre 1", 1)
    listed(store, rulebook, "only-eye", "Theatre 1", 2)
    aged = listed(store, rulebook, "shallow-chamber", "Theatre 1", 3)
    store.save_case(aged, 2, {"iop_mmhg": 31}, "trainee-3", seen=store.case_now(aged).seen)
    assert planner("papers", "--day", DAY, "--unit", UNIT).code == 1
    file = folder / f"papers-{DAY}.pdf"
    # Both checkers of PDF/UA that the single plans are held to.
    report = page.validate_pdf_bytes(file.read_bytes())
    assert report.profile == page.ValidationProfile.PDF_UA_1
    assert report.is_compliant, [(failure.rule_id, failure.message) for failure in report.failures]
    result = outloud.check(str(file))
    assert not result.error
    # TBL-014 takes the eye's drawing beside boxes for a table; see tests/documents/test_print_outloud.py.
    assert [f for f in result.findings if f.severity == "error" and f.rule != "TBL-014"] == []


def test_what_does_not_stand_is_left_out_and_said_first(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook
) -> None:
    listed(store, rulebook, "routine", "Theatre 1", 1)
    days = rulebook.vocabulary.by_id["iop_date"].valid_days
    assert days is not None
    aged = (DAY - datetime.timedelta(days + 1)).isoformat()
    listed(store, rulebook, "shallow-chamber", "Theatre 1", 2, iop_date=aged)
    changed = listed(store, rulebook, "tense-white", "Theatre 1", 3)
    store.save_case(changed, 2, {"iop_mmhg": 31}, "trainee-3", seen=store.case_now(changed).seen)
    ran = planner("papers", "--day", DAY, "--unit", UNIT, "-o", "papers.pdf")
    assert ran.code == 1 and "wrote papers.pdf: 1 of 3 plans" in ran.err
    assert "H-108, left eye: left out (Date of the pressure" in ran.err and "H-102, right eye: left out" in ran.err
    first, *plans = pages(folder / "papers.pdf")
    assert "Not here: 2." in first and f"Date of the pressure {day_words(aged)} is {days + 1} days old" in first
    assert first.index("but no plan in these papers") < first.index("In this order")
    assert "no approval stands" in first and not any("H-108" in text or "H-102" in text for text in plans)


def test_a_plan_that_cannot_be_printed_is_left_out_and_said_first(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = html.page

    def page_of(plan: PlanView, *parts: Any) -> str:
        """The page, with a picture from elsewhere in that of one case: it is refused where type is set."""
        made, picture = whole(plan, *parts), '<img alt="" src="http://elsewhere/a.png">'
        return made.replace("</body>", f"{picture}</body>") if plan.case == "H-102" else made

    monkeypatch.setattr(html, "page", page_of)
    listed(store, rulebook, "tense-white", "Theatre 1", 1)
    listed(store, rulebook, "routine", "Theatre 1", 2)
    ran = planner("papers", "--day", DAY, "--unit", UNIT, "-o", "papers.pdf")
    assert ran.code == 1 and "wrote papers.pdf: 1 of 2 plans" in ran.err
    assert "H-102, right eye: left out (cannot be printed: " in ran.err
    first, *plans = pages(folder / "papers.pdf")
    assert "Not here: 1." in first and "the page asks for http://elsewhere/a.png" in first
    assert first.index("H-102") < first.index("In this order") < first.index("H-101")
    assert all("H-101" in text for text in plans)


def test_theatre_sheets_alone_are_two_sides_a_plan(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook
) -> None:
    for order, name in enumerate(("routine", "shallow-chamber"), 1):
        listed(store, rulebook, name, "Theatre 1", order)
    ran = planner("papers", "--day", DAY, "--unit", UNIT, "--sheet", "theatre", "-o", "papers.pdf")
    assert ran.code == 0
    first, *plans = pages(folder / "papers.pdf")
    assert "Theatre sheets alone" in first and "on 4 pages" in first
    assert ["H-101" in text for text in plans] == [True, True, False, False]


def test_a_day_without_cases_says_so(planner: Callable[..., Ran], folder: Path, store: Store) -> None:
    assert planner("papers", "--day", DAY, "--unit", UNIT).code == 0
    assert "No case has a place on the lists of this day." in pages(folder / f"papers-{DAY}.pdf")[0]


def test_the_older_papers_stay_when_the_new_cannot_be_made(
    planner: Callable[..., Ran], folder: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "papers.pdf").write_bytes(b"older")
    monkeypatch.setenv("PLANNER_DATABASE_URL", f"sqlite:///{folder / 'nowhere.db'}")
    ran = planner("papers", "--day", DAY, "--unit", UNIT, "-o", "papers.pdf")
    assert ran.code == 1 and ran.err.startswith("error:")
    assert (folder / "papers.pdf").read_bytes() == b"older" and not (folder / "nowhere.db").exists()


def test_a_day_that_is_none_is_wrong_usage(planner: Callable[..., Ran], folder: Path) -> None:
    assert planner("papers", "--day", "tomorrow").code == 2
    assert planner("papers").code == 2


@pytest.mark.long
def test_the_hour_of_an_approval_is_the_unit_s(
    planner: Callable[..., Ran], folder: Path, store: Store, rulebook: Rulebook
) -> None:
    case = listed(store, rulebook, "routine", "Theatre 1", 1)
    given = next(now.approval for now in store.list_of(DAY) if now.case.id == case)
    assert given is not None
    utc = datetime.datetime.fromisoformat(given.at).replace(tzinfo=None)
    # Neither has a summer time: Kiritimati is 14 hours ahead, Honolulu 10 behind.
    for zone, hours in (("Pacific/Kiritimati", 14), ("Pacific/Honolulu", -10)):
        unit = re.sub(r"(?m)^zone: .*$", f"zone: {zone}", UNIT.read_text("utf-8"))
        (folder / "unit.yaml").write_text(unit, "utf-8")
        assert planner("papers", "--day", DAY, "--unit", "unit.yaml", "-o", "now.pdf").code == 0
        there = utc + datetime.timedelta(hours=hours)
        assert f"{there.day} {there:%B %Y, %H:%M}" in pages(folder / "now.pdf")[1]
