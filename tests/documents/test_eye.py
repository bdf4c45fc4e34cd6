"""The drawing, against a rotation worked out here: the microscope turns what one sees facing the patient, no mirror.

Clock hours are of the eye as one faces the patient: temporal is 9 in a right eye and 3 in a left.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest
from plain_eye import plain_eye

from planner.assess.assess import assess
from planner.documents.eye.drawing import UNITS, at_hour, eye_view, planned_opening_mm, planned_seat
from planner.documents.eye.face import RIM, TakenRim, free_place
from planner.plan.make import make_plan
from planner.plan.plan import Plan, PlannedChoice
from planner.rulebook.plan_shapes import Device, Seat
from planner.rulebook.rulebook import Rulebook

from .conftest import PlanOf, with_case, with_findings

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]
# Quarter turns, clockwise on the page, from the facing view to the view from the seat, by walking round the patient:
# beside a right temple one has the head on the left hand, beside a left temple on the right; at the head upside down.
QUARTERS = {
    ("right", "temporal"): 3,
    ("left", "temporal"): 1,
    ("right", "superior"): 2,
    ("left", "superior"): 2,
}
EYES_AND_SEATS = pytest.mark.parametrize(("eye", "seat"), QUARTERS)
FACING = {12: (0.0, -1.0), 3: (1.0, 0.0), 6: (0.0, 1.0), 9: (-1.0, 0.0)}


def turned(point: Point, quarters: int) -> Point:
    """A place turned clockwise on a page whose y runs downward: the rotation matrix (0 -1; 1 0), so many times."""
    for _ in range(quarters):
        point = (-point[1], point[0])
    return point


def from_seat(plan: Plan, seat: Seat | None, side_ports: int = 2, **fields: object) -> Plan:
    """The plan with its incision made from this seat, nothing to hold pupil or bag, and fields of it changed."""
    bare = {name: written(chosen, drawn=[]) for name, chosen in plan.choices.items()}
    incision = written(bare["incision"], seat=seat, main_incision=seat, side_ports=side_ports)
    return replace(plan, choices={**bare, "incision": replace(incision, **fields)})  # type: ignore[arg-type]


def written(chosen: PlannedChoice, **fields: object) -> PlannedChoice:
    """The choice with its option written otherwise."""
    return replace(chosen, way=chosen.way.model_copy(update=fields))


def holding(plan: Plan, *devices: Device, provisional: bool = False) -> Plan:
    pupil = replace(written(plan.choices["pupil"], drawn=list(devices)), provisional=provisional)
    return replace(plan, choices={**plan.choices, "pupil": pupil})


def hooks(device: str = "iris-hooks", placed: str = "planned", marks: int | None = 4, **rest: object) -> Device:
    values = {"number": "4 to 5", "beneath_incision": False, "size_mm": None, "note": "before the opening"}
    return Device.model_construct(device=device, placed=placed, marks=marks, **{**values, **rest})  # type: ignore[arg-type]


def drawn(plan: Plan) -> ElementTree.Element:
    return ElementTree.fromstring(eye_view(plan).svg)


def marked(svg: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in svg.iter() if element.attrib.get("class") == f"mark-{name}"]


def words_at(svg: ElementTree.Element) -> dict[str, Point]:
    """The centre of each word at the rim, as told by its anchor: -1, 0 or 1 to either side."""
    side = {"start": 1.0, "middle": 0.0, "end": -1.0}
    texts = [(text.text or "", text.attrib) for text in svg.iter(f"{SVG}text")]
    found = {}
    for text, place in texts:
        x, y = float(place["x"]), float(place["y"])
        found[text.split()[0]] = (side[place["text-anchor"]], 0.0 if abs(x) > 1 else math.copysign(1, y))
    return found


def points(path: ElementTree.Element) -> list[Point]:
    """The corners of a path of M, L and A."""
    ends = re.findall(r"(-?[\d.]+) (-?[\d.]+)(?=[MLAZ]|$)", path.attrib["d"])
    return [(float(x), float(y)) for x, y in ends]


def faced(point: Point, eye: str, seat: str) -> float:
    """The clock hour of a place of the drawing, as one faces the patient: turned back, then read off the clock."""
    x, y = turned(point, 4 - QUARTERS[eye, seat])
    return math.degrees(math.atan2(x, -y)) / 30 % 12


def hour_of(path: ElementTree.Element, eye: str, seat: str) -> float:
    corners = points(path)
    return faced((sum(x for x, _ in corners), sum(y for _, y in corners)), eye, seat)


def test_clock_face_as_one_faces_the_patient() -> None:
    for hour, (x, y) in FACING.items():
        assert at_hour(hour, 10) == pytest.approx((10 * x, 10 * y), abs=0.01)


@EYES_AND_SEATS
@pytest.mark.parametrize("hour", [1, 3, 4.5, 6, 8, 9, 12])
def test_hours_from_the_seat_are_the_facing_ones_turned(eye: str, seat: str, hour: float) -> None:
    bottom = {"temporal": {"right": 9, "left": 3}[eye], "superior": 12}[seat]
    assert at_hour(hour, 10, bottom) == pytest.approx(turned(at_hour(hour, 10), QUARTERS[eye, seat]), abs=0.02)


@EYES_AND_SEATS
def test_words_stand_at_the_rim_where_the_seat_turns_them(plan_of: PlanOf, eye: str, seat: Seat) -> None:
    svg = drawn(from_seat(with_findings(plan_of("routine"), eye), seat))
    hours = {"SUPERIOR": 12, "INFERIOR": 6, "TEMPORAL": 9 if eye == "right" else 3, "NASAL": 3 if eye == "right" else 9}
    found = words_at(svg)
    for word, hour in hours.items():
        assert found[word] == pytest.approx(turned(FACING[hour], QUARTERS[eye, seat])), word
    assert found[seat.upper()] == (0, 1)
    # The hour stands beside its word: on the same line above and below the eye, on the next one beside it.
    for word, hour in hours.items():
        (line,) = [text for text in svg.iter(f"{SVG}text") if (text.text or "").startswith(word)]
        x, y = float(line.attrib["x"]), float(line.attrib["y"])
        beneath = [t for t in svg.iter(f"{SVG}text") if t.text == f"{hour}" and float(t.attrib["x"]) == x]
        assert line.text == f"{word} {hour}" or [float(t.attrib["y"]) - y for t in beneath] == [16], word


def test_from_a_temporal_seat_the_head_is_on_the_left_hand_at_a_right_eye(plan_of: PlanOf) -> None:
    def superior(eye: str) -> Point:
        return words_at(drawn(from_seat(with_findings(plan_of("routine"), eye), "temporal")))["SUPERIOR"]

    assert superior("right") == (-1, 0)
    assert superior("left") == (1, 0)


def test_one_eye_from_a_temporal_seat_is_the_mirror_image_of_the_other(plan_of: PlanOf) -> None:
    def eye(side: str, start: float) -> ElementTree.Element:
        findings = {"zonule_loss_clock_hours": 2.0, "zonule_loss_from_clock_hour": start, "dilated_pupil_mm": 7.0}
        return drawn(from_seat(with_findings(plan_of("routine"), side, **findings), "temporal"))

    # Facing the patient, 1 to 3 o'clock in one eye is the mirror image of 9 to 11 in the other.
    right, left = eye("right", 1.0), eye("left", 9.0)
    for mark in ("zonule", "incision", "port"):
        one = sorted(point for path in marked(right, mark) for point in points(path))
        other = sorted((-x, y) for path in marked(left, mark) for x, y in points(path))
        assert one, mark
        assert [v for point in one for v in point] == pytest.approx([v for point in other for v in point], abs=0.05)
    assert words_at(right)["SUPERIOR"] == tuple(-x if n == 0 else x for n, x in enumerate(words_at(left)["SUPERIOR"]))


@EYES_AND_SEATS
def test_zonule_loss_is_hatched_where_it_was_recorded(plan_of: PlanOf, eye: str, seat: Seat) -> None:
    findings = {"zonule_loss_clock_hours": 3.0, "zonule_loss_from_clock_hour": 6.0}
    plan = from_seat(with_findings(plan_of("routine"), eye, **findings), seat)
    svg = drawn(plan)
    (ring,) = marked(svg, "zonule")
    # From 6 o'clock, clockwise as one faces the patient, to 9: inferonasal in a left eye, inferotemporal in a right.
    assert [round(faced(point, eye, seat), 2) % 12 for point in points(ring)] == pytest.approx([6, 9, 9, 6], abs=0.02)
    ticks = [faced((float(line.attrib["x1"]), float(line.attrib["y1"])), eye, seat) for line in marked(svg, "hatching")]
    assert len(ticks) > 6
    assert all(6 < tick < 9 for tick in ticks)
    assert "Zonule loss 3 clock hours, from 6 to 9 o'clock: hatched." in eye_view(plan).captions


@EYES_AND_SEATS
def test_incision_is_at_the_seat_and_named_as_one_faces_the_patient(plan_of: PlanOf, eye: str, seat: Seat) -> None:
    view = eye_view(from_seat(with_findings(plan_of("routine"), eye), seat))
    svg = ElementTree.fromstring(view.svg)
    (bar,) = marked(svg, "incision")
    hour = {"temporal": 9 if eye == "right" else 3, "superior": 12}[seat]
    assert hour_of(bar, eye, seat) % 12 == pytest.approx(hour % 12, abs=0.05)
    assert sum(y for _, y in points(bar)) > 0  # before the surgeon
    assert f"Main incision {seat}, {hour} o'clock: heavy bar." in view.captions
    ports = sorted((hour_of(port, eye, seat) - hour) % 12 for port in marked(svg, "port"))
    assert ports == pytest.approx([2, 10], abs=0.05)


@EYES_AND_SEATS
def test_the_words_agree_with_the_drawing(plan_of: PlanOf, eye: str, seat: Seat) -> None:
    view = eye_view(from_seat(with_findings(plan_of("routine"), eye), seat))
    assert view.seat.startswith(f"{eye.capitalize()} eye, drawn for a {seat} seat: ")
    other = "superior" if seat == "temporal" else "temporal"
    side = {-1: "left", 1: "right"}[int(words_at(ElementTree.fromstring(view.svg))[other.upper()][0])]
    assert f"{other} on the {side}." in view.seat
    assert "Clock hours as one faces the patient." in view.seat
    assert (ElementTree.fromstring(view.svg).findtext(f"{SVG}title") or "").startswith(view.seat)


def test_a_seat_that_the_plan_leaves_open_is_assumed_and_said(plan_of: PlanOf) -> None:
    tense = plan_of("tense-white")
    assert planned_seat(tense) is None
    view = eye_view(tense)
    assert "drawn for a temporal seat" in view.seat and "The plan leaves the seat open." in view.seat
    assert "if temporal" in view.svg
    assert words_at(ElementTree.fromstring(view.svg))["TEMPORAL"] == (0, 1)
    assert planned_seat(plan_of("routine")) == "temporal"
    assert "open" not in eye_view(plan_of("routine")).seat


def test_pupil_is_to_scale_or_dashed(plan_of: PlanOf) -> None:
    def pupil(plan: Plan) -> ElementTree.Element:
        (circle,) = marked(drawn(plan), "pupil")
        return circle

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
    assert not marked(ElementTree.fromstring(nowhere.svg), "zonule")
    bleb = eye_view(with_findings(plan_of("routine"), previous_trabeculectomy=True))
    assert "Bleb not drawn: its clock hour is not recorded." in bleb.captions


def test_opening_is_drawn_as_the_plan_says(plan: Plan) -> None:
    if plan.assessment.tier.on_record is None:
        # No technique is written, so none is drawn: no opening, no cut, no device.
        view = eye_view(plan)
        shapes = ElementTree.fromstring(view.svg)
        planned = ("opening", "incision", "port", "iris-hooks", "capsule-hooks", "pupil-ring")
        assert not any(marked(shapes, mark) for mark in planned)
        assert "No technique is written, so none is drawn." in view.captions
        return
    size = planned_opening_mm(plan)
    step = next(step for step in plan.steps if step.id == "capsule-opening")
    assert size is not None
    # The field against the words beside it: both ends stand in what the surgeon reads.
    words = " ".join((*step.do, step.done_well)).replace("5 mm", "5.0 mm")
    assert all(f"{end:.1f}" in words for end in size)
    (opening,) = marked(drawn(plan), "opening")
    assert float(opening.attrib["r"]) == pytest.approx(UNITS * sum(size) / 4, rel=0.001)


def test_an_incision_without_a_fixed_place_is_said_and_not_drawn(rulebook: Rulebook) -> None:
    cut = plain_eye(rulebook, previous_refractive_surgery="radial-keratotomy")
    view = eye_view(make_plan(assess(cut, rulebook), rulebook))
    assert "Incision not drawn: scleral tunnel, or between the old cuts." in view.captions
    svg = ElementTree.fromstring(view.svg)
    assert not marked(svg, "incision") and not marked(svg, "port")


def test_an_incision_for_the_surgeon_to_place_is_hollow_at_the_seat_and_never_over_the_gap(plan_of: PlanOf) -> None:
    tense = plan_of("tense-white")
    (bar,) = marked(drawn(tense), "incision")
    assert bar.attrib["fill"] == "#fff" and hour_of(bar, "right", "temporal") == pytest.approx(9, abs=0.05)
    assert any("for the surgeon to place" in caption for caption in eye_view(tense).captions)
    for start, shown in ((2.0, True), (7.5, False), (9.0, False)):
        gap = {"zonule_loss_clock_hours": 2.0, "zonule_loss_from_clock_hour": start}
        assert bool(marked(drawn(with_findings(tense, **gap)), "incision")) is shown, start


def test_one_port_may_take_either_place_and_two_take_both(plan_of: PlanOf) -> None:
    said = {1: "One side port: at either short bar.", 2: "Side ports: short bars."}
    for number, words in said.items():
        plan = from_seat(plan_of("routine"), "temporal", side_ports=number)
        assert words in eye_view(plan).captions
        assert len(marked(drawn(plan), "port")) == 2
    none = from_seat(plan_of("routine"), "temporal", side_ports=0)
    assert not marked(drawn(none), "port") and not any("port" in caption for caption in eye_view(none).captions)


def test_an_incision_still_open_is_hollow_and_said(plan_of: PlanOf) -> None:
    certain, open_ = (from_seat(plan_of("routine"), "temporal", provisional=still) for still in (False, True))
    said = "Hollow bars: prepared, another place still possible."
    assert said in eye_view(open_).captions and said not in eye_view(certain).captions
    assert marked(drawn(certain), "incision")[0].attrib["fill"] != marked(drawn(open_), "incision")[0].attrib["fill"]


@pytest.mark.parametrize("bleb", [1.0, 2.0, 5.0, 9.0, 10.0, 11.0, 12.0])
def test_nothing_goes_through_the_bleb(plan_of: PlanOf, bleb: float) -> None:
    plan = with_findings(plan_of("routine"), bleb_clock_hour=bleb, previous_trabeculectomy=True)
    plan = holding(from_seat(plan, "temporal"), hooks())
    svg = drawn(plan)
    for mark in ("incision", "port", "iris-hooks"):
        for path in marked(svg, mark):
            for point in points(path):
                away = abs((faced(point, "right", "temporal") - bleb + 6) % 12 - 6) * 30
                assert away > 20, (mark, away)
    # At 9 o'clock, and half over it at 10, there is no room for the incision itself: said, not drawn.
    assert bool(marked(svg, "incision")) is (bleb not in (9.0, 10.0))
    said = "Main incision not drawn: its usual place lies at the bleb."
    assert (said in eye_view(plan).captions) is (bleb in (9.0, 10.0))


def test_iris_hooks_hold_the_pupil_clear_of_incision_and_ports(plan_of: PlanOf) -> None:
    plan = with_findings(plan_of("routine"), dilated_pupil_mm=4.0)
    plan = holding(from_seat(plan, "temporal"), hooks())
    svg = drawn(plan)
    shafts = marked(svg, "iris-hooks")
    assert len(shafts) == 4
    places = [math.hypot(*points(shaft)[-1]) for shaft in shafts]
    assert places == pytest.approx([UNITS * 4.0 / 2] * 4, abs=0.05)
    at = sorted(hour_of(shaft, "right", "temporal") for shaft in shafts)
    for hour in (7, 9, 11):
        assert min(abs(place - hour) for place in at) * 30 > 10
    assert "Iris hooks, 4 to 5: lines with bars; before the opening." in eye_view(plan).captions
    assert "4 hooks are drawn; places for the surgeon to choose." in eye_view(plan).captions


def test_a_hook_beneath_the_incision_starts_inside_its_bar(plan_of: PlanOf) -> None:
    plan = holding(from_seat(with_findings(plan_of("routine")), "temporal"), hooks(beneath_incision=True))
    svg = drawn(plan)
    shafts = {round(hour_of(shaft, "right", "temporal")) % 12: shaft for shaft in marked(svg, "iris-hooks")}
    assert sorted(shafts) == [0, 3, 6, 9]  # a diamond
    inner = min(math.hypot(*point) for point in points(marked(svg, "incision")[0]))
    assert math.hypot(*points(shafts[9])[0]) < inner
    assert math.hypot(*points(shafts[3])[0]) > RIM


def test_what_is_only_to_hand_is_dashed_and_said(plan_of: PlanOf) -> None:
    bare = from_seat(with_findings(plan_of("routine"), dilated_pupil_mm=4.0), "temporal")
    placed = holding(bare, hooks())
    ready = [
        holding(bare, hooks(placed="if-needed")),
        holding(bare, hooks(), provisional=True),  # planned, but the choice is still open
    ]
    assert all("stroke-dasharray" not in hook.attrib for hook in marked(drawn(placed), "iris-hooks"))
    for plan in ready:
        assert all("stroke-dasharray" in hook.attrib for hook in marked(drawn(plan), "iris-hooks"))
        assert any("ready, not placed" in caption for caption in eye_view(plan).captions)
    assert not any("not placed" in caption for caption in eye_view(placed).captions)


def test_rings_are_drawn_round_and_a_pupil_ring_to_scale(plan_of: PlanOf) -> None:
    rings = hooks("tension-ring", number=None, marks=None), hooks("pupil-ring", number=None, marks=None, size_mm=6.25)
    svg = drawn(holding(from_seat(with_findings(plan_of("routine")), "temporal"), *rings))
    (ring,) = marked(svg, "pupil-ring")
    assert float(ring.attrib["r"]) == pytest.approx(UNITS * 6.25 / 2)
    (open_ring,) = marked(svg, "tension-ring")
    assert len({round(math.hypot(*point), 1) for point in points(open_ring)}) == 1


@pytest.mark.parametrize("eye", ["right", "left"])
def test_capsule_hooks_stand_round_the_weak_zonule_on_the_capsule_edge(plan_of: PlanOf, eye: str) -> None:
    findings = {"zonule_loss_clock_hours": 2.0, "zonule_loss_from_clock_hour": 1.0}
    bare = from_seat(with_findings(plan_of("routine"), eye, **findings), "temporal")
    svg = drawn(holding(bare, hooks("capsule-hooks")))
    places = sorted(hour_of(shaft, eye, "temporal") for shaft in marked(svg, "capsule-hooks"))
    assert len(places) == 4
    assert sum(places) / 4 == pytest.approx(2, abs=0.3)  # the middle of 1 to 3 o'clock
    size = planned_opening_mm(bare)
    assert size is not None
    ends = [math.hypot(*points(shaft)[-1]) for shaft in marked(svg, "capsule-hooks")]
    assert ends == pytest.approx([UNITS * sum(size) / 4] * 4, abs=0.05)


@pytest.mark.parametrize(
    ("marks", "number", "said"),
    [
        (4, "4 to 5", "Capsule hooks, 4 to 5: not drawn, the weak clock hours are not recorded; before the opening."),
        (None, None, "Capsule hooks: not drawn, no number is set beforehand; before the opening."),
    ],
)
def test_capsule_hooks_without_a_place_or_a_number_are_said_and_not_drawn(
    plan_of: PlanOf, marks: int | None, number: str | None, said: str
) -> None:
    bare = from_seat(with_findings(plan_of("routine")), "temporal")
    view = eye_view(holding(bare, hooks("capsule-hooks", marks=marks, number=number)))
    assert said in view.captions
    assert not marked(ElementTree.fromstring(view.svg), "capsule-hooks")
    assert "hooks are drawn" not in " ".join(view.captions)


def test_what_the_rulebook_draws_stands_in_its_own_words(rulebook: Rulebook) -> None:
    found = 0
    for choice in rulebook.choices.values():
        for option in choice.options:
            words = " ".join(option.do)
            for device in option.drawn:
                found += 1
                if device.number:
                    assert device.number in words, option.id
                if device.size_mm:
                    assert f"{device.size_mm:g}" in words, option.id
                assert device.device.split("-")[-1].rstrip("s") in words.lower(), option.id
                assert device.beneath_incision is ("beneath the main incision" in words), option.id
                # What an option only keeps in the room is not drawn at all.
                assert "in the room" not in option.label, option.id
            ports = re.search("(one|two small)? ?side ports?", words.lower())
            if option.main_incision:
                assert ports is not None, option.id
                assert option.side_ports == (2 if ports[0].endswith("s") else 1), option.id
            if option.seat:
                assert option.seat.capitalize() in words, option.id
    assert found >= 8


@pytest.mark.parametrize(
    ("wanted", "taken", "place"),
    [
        (10.0, [], 10.0),
        (10.0, [TakenRim(0.0, 20.0)], 20.0),
        (350.0, [TakenRim(5.0, 20.0)], 345.0),  # across 12 o'clock
        (0.0, [TakenRim(0.0, 20.0), TakenRim(25.0, 20.0)], -20.0),
        (7.0, [TakenRim(0.0, 181.0)], 7.0),
    ],
)
def test_the_nearest_free_place(wanted: float, taken: list[TakenRim], place: float) -> None:
    assert free_place(wanted, taken) == place


def test_lettering_is_large_enough_at_print_size(plan_of: PlanOf) -> None:
    svg = drawn(plan_of("routine"))
    width = float(svg.attrib["viewBox"].split()[2])
    # 70 mm wide on the sheet; 25.4 mm are 72 points.
    assert float(svg.attrib["font-size"]) / width * 70 / 25.4 * 72 >= 9.5


def test_every_plan_draws(plan: Plan) -> None:
    for eye in ("right", "left"):
        svg = drawn(with_case(plan, eye=eye))
        left, top, width, height = map(float, svg.attrib["viewBox"].split())
        for element in svg.iter():
            for name in ("x", "y", "r", "cx", "cy", "x1", "y1", "x2", "y2"):
                assert math.isfinite(float(element.attrib.get(name, 0)))
            if "d" in element.attrib:
                assert all(left < x < left + width and top < y < top + height for x, y in points(element))
