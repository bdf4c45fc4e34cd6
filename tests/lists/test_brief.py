"""The printed list, the team brief and the weeks at a glance: what they say, and what two PDF/UA checkers find."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import outloud
import page
import pypdfium2
import pytest
from pypdf import PdfReader

from planner.documents.brief.shapes import Brief, Told
from planner.documents.brief.sheet import render_brief
from planner.documents.week.sheet import render_weeks
from planner.exchange.case_reader import ReadCase, read_cases
from planner.lists.changes.differences import changes
from planner.lists.matching.match import Matched
from planner.lists.output.brief_view import brief_of
from planner.lists.output.week_view import weeks_view
from planner.lists.roster.shapes import read_roster
from planner.lists.week.gather import Gathered
from planner.lists.week.instance import Lists, Placing
from planner.lists.week.lists_file import read_lists
from planner.plan.plan import Approval
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
# As in tests/documents/test_print_outloud.py: a number beside one wide cell, and a ruled drawing.
FALSE_ALARMS = {"TBL-010", "TBL-014"}


@pytest.fixture(scope="module")
def gathered(rulebook: Rulebook) -> Gathered:
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    roster = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook)
    items = read_cases(str(DEMO / "lists" / "pool.csv"), rulebook.vocabulary)
    return Gathered((item.case for item in items if isinstance(item, ReadCase)), rulebook, unit, roster)


@pytest.fixture(scope="module")
def held(gathered: Gathered) -> Lists:
    return read_lists(DEMO / "lists" / "first-week.yaml", gathered.instance)


@pytest.fixture(scope="module")
def brief(gathered: Gathered, held: Lists) -> Brief:
    return brief_of(gathered.instance, held, "tue-1-a", gathered.plans(held))


def words(pdf: bytes) -> str:
    return " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(pdf)).pages).split())


def faults(pdf: bytes, folder: Path) -> list[str]:
    report = page.validate_pdf_bytes(pdf)
    assert report.is_compliant, [(failure.rule_id, failure.message) for failure in report.failures]
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    result = outloud.check(str(path))
    assert not result.error
    return [
        f"{one.rule}: {one.message}"
        for one in result.findings
        if one.severity == "error" and one.rule not in FALSE_ALARMS
    ]


def test_a_row_says_who_where_what_and_with_which_lens(gathered: Gathered, brief: Brief) -> None:
    third = brief.rows[2]
    case = gathered.instance.cases[third.key]
    assert (third.side, third.reference, third.tier) == ("LEFT EYE", "L-414", "3")
    assert (third.operator, third.supervisor) == ("trainee-5 (late)", "consultant-1, scrubbed")
    assert case.lens_power == 19.0 and third.lens == "19.00 D, hydrophobic acrylic" and third.backup == "18.00 D"
    assert third.biometry == "B-2414, 5 November 2026"
    assert third.approved == "not approved here"
    assert brief.rows[0].allergies == Told(("Latex allergy",), ())
    assert brief.rows[0].infection == Told((), ()) and "Latex-free gloves and set" in brief.rows[0].kit
    assert [row.anaesthetist for row in brief.rows[:2]] == ["not needed", "needed"]


def test_none_and_not_recorded_are_told_apart_in_a_fixed_place(gathered: Gathered, held: Lists, brief: Brief) -> None:
    first = replace(brief.rows[1], allergies=Told((), ()), infection=Told((), ("Infection precautions",)))
    unknown = Told((), ("Latex allergy", "Reaction to povidone-iodine", "Penicillin allergy"))
    second = replace(brief.rows[2], allergies=unknown, infection=Told((), ()))
    made = render_brief([replace(brief, rows=(first, second))])
    told = words(made).replace(" ", "")
    assert "Allergies:none.Infection:NOTRECORDED(Infectionprecautions)." in told
    assert "Allergies:NOTRECORDED.Infection:none." in told
    # On the list each answer stands in the column of its heading.
    sheet = PdfReader(io.BytesIO(made)).pages[0]
    at: dict[str, list[float]] = {}

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        at.setdefault(text.strip(), []).append(tm[4] * cm[0] + cm[4])

    sheet.extract_text(visitor_text=visit)
    (allergies,), (infection,) = at["Allergies"], at["Infection"]
    assert sorted(at["none"])[:2] == pytest.approx([allergies, infection], abs=2)
    assert sorted(round(x) for x in at["NOT RECORDED"]) == pytest.approx([allergies, infection], abs=5)


def test_times_are_those_of_the_sources(brief: Brief) -> None:
    # Intermediate grade 27 minutes, senior 24 (Nderitu and Ursell), turnover 9.67 (Roberts 2018).
    assert [row.minutes for row in brief.rows[:2]] == [round(27 + 9.67), round(24 + 9.67)]
    assert [row.starts for row in brief.rows[:3]] == ["08:30", "09:05", "09:40"]


def test_the_hardest_is_said_first_with_its_pauses(brief: Brief) -> None:
    first = brief.hardest_first[0]
    assert first.reference == "L-414" and 1 <= len(first.pauses) <= 3
    assert "Capsule opening (capsulorhexis)" in dict(first.pauses)


def test_kit_is_summed_over_the_list_by_item(gathered: Gathered, held: Lists, brief: Brief) -> None:
    plans = gathered.plans(held)
    for item in brief.kit:
        wanting = [
            str(p.place)
            for p in sorted(held.placings)
            if p.session == "tue-1-a" and any(k.label == item.label and k.need != "always" for k in plans[p.case].kit)
        ]
        assert (item.count, item.orders) == (len(wanting), ", ".join(wanting))
    assert len({item.label for item in brief.kit}) == len(brief.kit)
    assert next(item.here for item in brief.kit if "Iris hooks" in item.label).endswith(
        "1 set here, ready again after 180 min"
    )


def test_an_approved_plan_prints_by_whom(gathered: Gathered, held: Lists) -> None:
    plans = gathered.plans(held)
    key = ("L-414", "left")
    given = Approval("A Consultant", "2026-11-25T09:00", 3, 4, "", "")
    plans[key] = replace(plans[key], approval=given)
    row = next(row for row in brief_of(gathered.instance, held, "tue-1-a", plans).rows if row.key == key)
    assert (row.tier, row.approved) == ("4", "approved by A Consultant, by the rulebook tier 3")


def test_changed_rows_are_marked_in_words_and_what_came_off_is_named(gathered: Gathered, held: Lists) -> None:
    instance = gathered.instance
    later = tuple(p for p in held.placings if p.case != ("L-404", "left"))
    later = tuple(replace(p, supervisor="consultant-1") if p.case == ("L-403", "left") else p for p in later)
    after = Lists((*later, Placing("tue-1-a", 5, ("L-402", "left"), "trainee-3", "trainer-1")))
    made = brief_of(instance, after, "tue-1-a", gathered.plans(after), changes(held, after), "Version 2.")
    assert [row.mark for row in made.rows] == ["OTHER PEOPLE", "", "", "", "NEW"]
    assert made.rows_off == ("L-404, left eye",)
    told = words(render_brief([made]))
    assert "OTHER PEOPLE" in told and "Taken off this list since the last version: L-404, left eye" in told
    assert "Version 2." in told


def test_a_list_that_breaks_a_rule_says_so_at_its_head(gathered: Gathered, held: Lists) -> None:
    bad = Lists(tuple(replace(p, supervisor="trainer-1") for p in held.placings if p.session == "tue-1-a"))
    told = words(render_brief([brief_of(gathered.instance, bad, "tue-1-a", gathered.plans(bad))]))
    assert "Do not start this list as it is:" in told and "trainer-1 is a trainer" in told


def test_the_sheets_are_pdf_ua_and_the_same_bytes_again(
    gathered: Gathered, held: Lists, brief: Brief, tmp_path: Path
) -> None:
    other = brief_of(gathered.instance, held, "tue-1-b", gathered.plans(held))
    made = render_brief([brief, other])
    assert not faults(made, tmp_path)
    assert made == render_brief([brief, other])
    # The list across the sheet and alone on it, the brief upright behind it.
    boxes = [sheet.mediabox for sheet in PdfReader(io.BytesIO(made)).pages]
    assert boxes[0].width > boxes[0].height and boxes[1].width < boxes[1].height


@pytest.mark.parametrize("count", [1, 9])
def test_a_short_and_a_long_list_hang_on_one_sheet(gathered: Gathered, rulebook: Rulebook, count: int) -> None:
    keys = sorted(gathered.instance.cases)[:count]
    full = Lists(tuple(Placing("tue-1-a", n, key, None, "consultant-1") for n, key in enumerate(keys, 1)))
    made = brief_of(gathered.instance, full, "tue-1-a", gathered.plans(full))
    longest = "X" * 60
    made = replace(made, rows=(replace(made.rows[0], reference=longest, patient="not recorded"), *made.rows[1:]))
    sheets = PdfReader(io.BytesIO(render_brief([made]))).pages
    assert longest in re.sub(r"\s", "", sheets[0].extract_text())
    assert count > 5 or sheets[1].mediabox.width < sheets[1].mediabox.height


def test_the_weeks_at_a_glance_hold_every_session_and_every_case(
    gathered: Gathered, demo_matched: Matched, tmp_path: Path
) -> None:
    instance, lists = gathered.instance, demo_matched.lists
    shown = weeks_view(instance, lists)
    rows = [row for days in shown.weeks.values() for rows in days.values() for row in rows]
    assert [row.session for row in rows] == list(instance.sessions)
    named = [(entry.reference) for row in rows for entry in row.cases] + [one.reference for one in shown.waiting]
    assert sorted(named) == sorted(reference for reference, _ in instance.cases)
    barred = {one.reference: one.barred for one in shown.waiting}
    assert barred["L-420"] == ("consent to surgery is recorded",)
    trainees = [placing.trainee for placing in lists.placings if placing.trainee]
    assert sum(share.whole + share.steps for share in shown.shares) == len(trainees)
    made = render_weeks(shown)
    assert not faults(made, tmp_path)
    # As many weeks on a page as fit: but for the last, no page ends with its lower quarter empty.
    pages = pypdfium2.PdfDocument(made)
    assert len(pages) < len(shown.weeks)
    for sheet in list(pages)[:-1]:
        picture = sheet.render(scale=1).to_pil().convert("L")
        body = picture.crop((0, 0, picture.width, picture.height - 35)).point(lambda grey: 255 * (grey < 128))
        assert body.getbbox()[3] > 0.75 * picture.height
