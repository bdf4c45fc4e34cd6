"""The theatre sheet: two sides for every eye, what may never be cut, type that can be read, one setting."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest
from random_cases import as_case, partly_recorded
from seeds import draws

from planner.assess.assess import Assessor
from planner.documents.plan.view import PlanView
from planner.documents.printing import pdf
from planner.documents.printing.pdf import render_pdf
from planner.documents.theatre.back import Back
from planner.documents.theatre.sheet import TheatreSheet, theatre_sheet
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

from .conftest import DEMO, NAMES, PlanOf, read, squeezed, with_case
from .layout_faults import crossed, orphan_headings, outside, overlaps, split_rows
from .sheet import printed

# Text on the back, in points: of a routine eye, and of the hardest.
ROUTINE_PT, LEAST_PT = 11, 9.5
# How far apart eyes are drawn: the share of findings left plain, and of those left blank.
MILD, BLANK = (0.2, 0.4, 0.6, 0.8, 0.95), (0.0, 0.1, 0.3, 0.6, 0.9)
STAGES = ("steps-only", "early", "middle", "late", "independent")
# So many are chosen by arithmetic, and so many of those are set in type.
CHOSEN, SET = draws(40, 500), draws(5, 500)


@pytest.fixture(scope="module")
def unit(rulebook: Rulebook) -> Unit:
    return read_unit(DEMO / "unit.yaml", rulebook)


@pytest.fixture(scope="module")
def drawn(rulebook: Rulebook, unit: Unit) -> Callable[[int], Plan]:
    """The plan of the eye that a seed draws, from all but plain to all but every finding, recorded or not."""
    judge = Assessor(rulebook)

    def made(seed: int) -> Plan:
        draw = random.Random(f"theatre sheet {seed}")
        values = partly_recorded(judge.compiled, draw, draw.choice(MILD), draw.choice(BLANK))
        case = as_case(judge.compiled, values, draw.choice(("right", "left")))
        return make_plan(judge.assess(case, unit, None), rulebook, unit, draw.choice(STAGES))

    return made


def steps_of(back: Back) -> Iterator[tuple[str, tuple[str, ...]]]:
    for column in back.columns:
        for step in column:
            yield step.s.step.id, step.main


def may_not_be_cut(plan: Plan, sheet: TheatreSheet) -> Iterator[str]:
    """What is wrong with what a sheet leaves out: each line one thing that must stand on it and does not."""
    back = sheet.back
    mains = dict(steps_of(back))
    for step in plan.steps:
        if step.id not in mains:
            yield f"step {step.id} is not there"
    if plan.has_technique:
        for choice in plan.choices.values():
            if choice.way.do and choice.way.do[0] not in mains[choice.step]:
                yield f"the main instruction of {choice.choice}"
    shown = {step.s.step.id: step for column in back.columns for step in column}
    for step in plan.steps:
        if plan.has_technique and step.pause_if and not shown[step.id].pauses:
            yield f"no pause at {step.id}"
        if len(shown[step.id].differs) > 2:
            yield f"more than two lines at {step.id}"
    drills = [one.drill for one in back.drills]
    if len(drills) != 3 or not any(drill.id == "posterior-capsule-rupture" for drill in drills):
        yield f"drills {[drill.id for drill in drills]}"
    barred = {name for one in back.barred for name, _ in one.drugs}
    if barred != {drug.label for drug in plan.drugs if drug.state != "as-prescribed"}:
        yield "a drug that may not be given is not named"
    withheld = [why for one in back.barred if one.withheld for _, why in one.drugs]
    if not all(withheld):
        yield "a drug is barred without a reason"
    named = {item.id for group in back.kit for item in group.items}
    yield from (item.label for item in plan.kit if (item.need == "essential" or item.lacking) and item.id not in named)
    if len(sheet.front.unrecorded) != len(plan.recheck_unknown):
        yield "a sitting is not in the strip"
    if sum(map(len, sheet.front.boxes)) != len(plan.recheck):
        yield "a box is not in the strip"
    if plan.assessment.readiness.because and not sheet.front.reasons.items:
        yield "nothing of what to settle"


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_must_stand_is_cut_from_a_demonstration_sheet(plan_of: PlanOf, name: str) -> None:
    plan = plan_of(name)
    sheet = theatre_sheet(PlanView(plan))
    assert sheet.fits
    assert not list(may_not_be_cut(plan, sheet))
    assert min(sheet.front.points, sheet.back.points) >= LEAST_PT


def test_a_routine_eye_is_set_in_eleven_points(plan_of: PlanOf) -> None:
    sheet = theatre_sheet(PlanView(plan_of("routine")))
    assert (sheet.front.points, sheet.back.points) == (ROUTINE_PT, ROUTINE_PT)


def test_drawn_eyes_fit_with_all_that_must_stand(drawn: Callable[[int], Plan]) -> None:
    faults = []
    for seed in range(CHOSEN):
        plan = drawn(seed)
        sheet = theatre_sheet(PlanView(plan))
        faults += [(seed, fault) for fault in may_not_be_cut(plan, sheet)]
        if not sheet.fits:
            faults.append((seed, "does not fit"))
    assert not faults


def test_drawn_eyes_are_set_on_two_sides(drawn: Callable[[int], Plan]) -> None:
    for seed in range(SET):
        sheets = read(render_pdf(drawn(seed), ("theatre",))).pages
        assert len(sheets) == 2, seed
        front = squeezed(sheets[0].extract_text())
        assert "Re-checkatthetable" in front and ("RIGHTEYE" in front or "LEFTEYE" in front), seed


@pytest.mark.parametrize("name", ["routine", "every-limit-left", "half-filled", "diabetic-letter"])
def test_a_theatre_sheet_has_no_fault_of_layout(plan_of: PlanOf, name: str) -> None:
    sheet = printed(render_pdf(plan_of(name), ("theatre",)))
    assert len(sheet.sheets) == 2
    for faults in (orphan_headings, split_rows, outside, overlaps, crossed):
        assert not list(faults(sheet)), faults.__name__


def test_a_sheet_is_set_once_and_never_more_than_twice(plan_of: PlanOf, monkeypatch: pytest.MonkeyPatch) -> None:
    settings: list[str] = []
    set_in_type = pdf._rendered

    def counted(page: str) -> object:
        settings.append(page)
        return set_in_type(page)

    monkeypatch.setattr(pdf, "_rendered", counted)
    render_pdf(plan_of("tense-white"), ("theatre",))
    assert len(settings) == 1

    # Where what was measured does not hold there is one more try, with room to spare, and then an error that says so.
    settings.clear()
    monkeypatch.setattr(pdf, "_is_on_two_sides", lambda *_: False)
    with pytest.raises(pdf.PlannerError, match="does not fit its two sides"):
        render_pdf(plan_of("tense-white"), ("theatre",))
    assert len(settings) == 2
    assert settings[0] != settings[1]


def test_a_long_reference_and_long_remarks_still_leave_two_sides(plan_of: PlanOf) -> None:
    plan = with_case(plan_of("every-limit-left"), reference="W" * 60)
    assert len(read(render_pdf(plan, ("theatre",))).pages) == 2


def test_each_sheet_alone_and_both_say_the_side_on_every_page(plan_of: PlanOf) -> None:
    plan = plan_of("routine")
    both, alone = read(render_pdf(plan)).pages, read(render_pdf(plan, ("preparation",))).pages
    assert len(both) == 2 + len(alone)
    for page in (*both, *alone):
        assert "RIGHTEYE" in squeezed(page.extract_text()) and "H-101" in squeezed(page.extract_text())
