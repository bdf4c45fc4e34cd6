"""The drawing, against the clock face: as one faces the patient temporal is 9 in a right eye and 3 in a left."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ElementTree

import pytest

from planner.documents.eye import UNITS, at_hour, eye_svg, eye_view, planned_opening_mm
from planner.plan.plan import Plan

from .conftest import PlanOf, with_findings

SVG = "{http://www.w3.org/2000/svg}"


def drawn(plan: Plan) -> ElementTree.Element:
    return ElementTree.fromstring(eye_svg(plan))


def place_of(svg: ElementTree.Element, word: str) -> tuple[float, float]:
    (text,) = [text for text in svg.iter(f"{SVG}text") if text.text == word]
    return float(text.attrib["x"]), float(text.attrib["y"])


def start_of(path: ElementTree.Element) -> tuple[float, float]:
    x, y = path.attrib["d"].removeprefix("M").split("A")[0].split()
    return float(x), float(y)


def main_incision(svg: ElementTree.Element) -> ElementTree.Element:
    (bar,) = [path for path in svg.iter(f"{SVG}path") if path.attrib.get("stroke-width") == "8"]
    return bar


def test_clock_face() -> None:
    assert at_hour(12, 10) == pytest.approx((0, -10))
    assert at_hour(3, 10) == pytest.approx((10, 0))
    assert at_hour(6, 10) == pytest.approx((0, 10), abs=0.01)
    assert at_hour(9, 10) == pytest.approx((-10, 0), abs=0.01)


@pytest.mark.parametrize(("eye", "temporal_is"), [("right", -1), ("left", 1)])
def test_temporal_and_nasal_change_sides_with_the_eye(plan_of: PlanOf, eye: str, temporal_is: int) -> None:
    svg = drawn(with_findings(plan_of("routine"), eye))
    assert math.copysign(1, place_of(svg, "TEMPORAL")[0]) == temporal_is
    assert math.copysign(1, place_of(svg, "NASAL")[0]) == -temporal_is
    assert place_of(svg, "SUPERIOR")[1] < 0 < place_of(svg, "INFERIOR")[1]
    # Hours are of the clock, whichever the eye.
    assert place_of(svg, "9")[0] < 0 < place_of(svg, "3")[0]
    assert math.copysign(1, start_of(main_incision(svg))[0]) == temporal_is


@pytest.mark.parametrize(("eye", "hour"), [("right", 9), ("left", 3)])
def test_the_words_agree_with_the_drawing(plan_of: PlanOf, eye: str, hour: int) -> None:
    view = eye_view(with_findings(plan_of("routine"), eye))
    assert view.seat.startswith(f"{eye.capitalize()} eye")
    assert f"temporal on the {'left' if eye == 'right' else 'right'}" in view.seat
    assert f"Main incision temporal, {hour} o'clock: heavy bar." in view.captions
    assert (ElementTree.fromstring(view.svg).findtext(f"{SVG}title") or "").startswith(view.seat)


@pytest.mark.parametrize("eye", ["right", "left"])
def test_zonule_loss_is_hatched_where_it_was_recorded_in_either_eye(plan_of: PlanOf, eye: str) -> None:
    plan = with_findings(plan_of("routine"), eye, zonule_loss_clock_hours=3.0, zonule_loss_from_clock_hour=3.0)
    svg = drawn(plan)
    ring = next(path for path in svg.iter(f"{SVG}path") if path.attrib["d"].endswith("Z"))
    x, y = start_of(ring)
    assert x > 0 and abs(y) < 1  # from 3 o'clock
    hatching = [line for line in svg.iter(f"{SVG}line") if line.attrib["stroke-width"] == "1.6"]
    assert all(float(line.attrib["x1"]) >= -1 and float(line.attrib["y1"]) >= -1 for line in hatching)  # to 6 o'clock
    assert "Zonule loss 3 clock hours, from 3 to 6 o'clock: hatched." in eye_view(plan).captions


def test_pupil_is_to_scale_or_dashed(plan_of: PlanOf) -> None:
    def pupil(plan: Plan) -> ElementTree.Element:
        return list(drawn(plan).iter(f"{SVG}circle"))[1]

    recorded = pupil(with_findings(plan_of("routine"), dilated_pupil_mm=4.5))
    assert float(recorded.attrib["r"]) == pytest.approx(UNITS * 4.5 / 2)
    assert "stroke-dasharray" not in recorded.attrib
    unknown = with_findings(plan_of("routine"))
    assert "stroke-dasharray" in pupil(unknown).attrib
    assert "Dilated pupil not recorded: dashed, not to scale." in eye_view(unknown).captions


def test_what_is_not_recorded_is_said_and_not_drawn(plan_of: PlanOf) -> None:
    captions = eye_view(with_findings(plan_of("routine"))).captions
    assert "Zonule loss not recorded." in captions
    assert "Lens opacity not recorded." in captions
    nowhere = eye_view(with_findings(plan_of("routine"), zonule_loss_clock_hours=2.0))
    assert "Zonule loss 2 clock hours, where is not recorded: not drawn." in nowhere.captions
    assert 'Z"' not in nowhere.svg


def test_opening_is_drawn_as_the_plan_says(plan: Plan) -> None:
    size = planned_opening_mm(plan)
    step = next(step for step in plan.steps if step.id == "capsule-opening")
    assert size is not None
    # The field against the words beside it: both ends stand in what the surgeon reads.
    words = " ".join((*step.do, step.done_well)).replace("5 mm", "5.0 mm")
    assert all(f"{end:.1f}" in words for end in size)
    radii = [float(circle.attrib["r"]) for circle in drawn(plan).iter(f"{SVG}circle")]
    assert pytest.approx(UNITS * sum(size) / 4) in radii


def test_an_incision_without_a_fixed_place_is_said_and_not_drawn(plan_of: PlanOf) -> None:
    view = eye_view(plan_of("tense-white"))
    assert "Incision not drawn: side ports first, main incision after decompression." in view.captions
    assert 'stroke-width="8"' not in view.svg


def test_every_plan_draws(plan: Plan) -> None:
    svg = drawn(plan)
    for element in svg.iter():
        for name in ("x", "y", "r", "cx", "cy", "x1", "y1", "x2", "y2"):
            assert math.isfinite(float(element.attrib.get(name, 0)))
