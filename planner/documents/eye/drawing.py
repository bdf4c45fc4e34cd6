"""The eye drawn from the case as the surgeon sees it from the seat; what is not recorded is dashed and said so."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Literal

from planner.case import Case
from planner.documents.eye.devices import device_caption, devices_of, draw_device
from planner.documents.eye.face import (
    NASAL_HOUR,
    RIM,
    TEMPORAL_HOUR,
    UNITS,
    Face,
    TakenRim,
    at_hour,
    free_place,
    stipple,
)
from planner.documents.eye.words import cut_words, lens_words, not_cut, seat_words
from planner.plan.plan import Plan
from planner.rulebook.plan_shapes import Seat

__all__ = ["UNITS", "EyeView", "at_hour", "eye_view", "planned_opening_mm"]

FONT = "Plan Text"
FONT_SIZE = 16.0
# The drawing as printed, 70 by 49 mm.
BOX = "-165 -105 330 231"
LABELS = RIM + 14
UNKNOWN_PUPIL_MM = 6.0
# Where the zonule lies behind the iris; a convention of the drawing like the rim.
ZONULE = (RIM - 14, RIM - 2)
# Degrees of the rim to either side.
INCISION_HALF, BLEB_HALF, PORT_HALF, APART = 11.0, 20.0, 2.0, 8.0
PORT_OFFSET = 60.0  # degrees, two clock hours to either side of the main incision

_LENS_TONES = {"partial": "#ebebeb", "total-white": "#ffffff", "total-brown": "#8c8c8c"}


@dataclass(frozen=True)
class EyeView:
    """The drawing with its words: which way up, and each thing drawn or left out, a short sentence each."""

    svg: str
    seat: str
    captions: tuple[str, ...]


def eye_view(plan: Plan) -> EyeView:
    """Draw the eye of a plan for the seat it names, a temporal one if it names none, and say in words what is shown."""
    drawing = _Drawing(plan)
    drawing.draw()
    seat = seat_words(drawing.face, drawing.seat is None)
    return EyeView(drawing.svg(" ".join([seat, *drawing.captions])), seat, tuple(drawing.captions))


def planned_opening_mm(plan: Plan) -> tuple[float, float] | None:
    """Least and most diameter of the capsule opening that the prepared option plans, None where it plans none."""
    return next((chosen.way.opening_mm for chosen in plan.choices.values() if chosen.way.opening_mm), None)


def planned_seat(plan: Plan) -> Seat | None:
    """Where the prepared options seat the surgeon, None where they leave it open."""
    return next((chosen.way.seat for chosen in plan.choices.values() if chosen.way.seat), None)


class _Drawing:
    """Gathers shapes and captions; the order of drawing is from the back of the eye to the front."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.case: Case = plan.assessment.case
        # Where too little is recorded to write a technique, none is drawn.
        self.planned = plan.has_technique
        self.seat = planned_seat(plan) if self.planned else None
        self.face = Face(self.case.eye, self.seat or "temporal")
        self.taken: list[TakenRim] = []
        self.shapes: list[str] = []
        self.captions: list[str] = []

    def draw(self) -> None:
        self.add('<circle class="mark-rim" r="{}" fill="#cfcfcf" stroke="#000" stroke-width="1.6"/>', RIM)
        self.zonule()
        self.lens()
        self.pupil_and_opening()
        self.bleb()
        if self.planned:
            self.incisions()
            self.devices()
        else:
            self.captions.append("No technique is written, so none is drawn.")
        self.rim_words()

    def add(self, shape: str, *values: float | str) -> None:
        self.shapes.append(shape.format(*(f"{v:g}" if isinstance(v, float) else v for v in values)))

    def number(self, name: str) -> float | None:
        value = self.case.in_force.get(name)
        return value if isinstance(value, float) else None

    @property
    def pupil_radius(self) -> float:
        pupil = self.number("dilated_pupil_mm")
        return UNITS * (UNKNOWN_PUPIL_MM if pupil is None else pupil) / 2

    @property
    def weak(self) -> tuple[float, float] | None:
        """Start and span of the missing zonule in degrees, where both are recorded."""
        hours, start = self.number("zonule_loss_clock_hours"), self.number("zonule_loss_from_clock_hour")
        return (30 * start, 30 * hours) if hours and start is not None else None

    def zonule(self) -> None:
        hours = self.number("zonule_loss_clock_hours")
        if hours is None:
            self.captions.append("Zonule loss not recorded.")
        elif hours and self.weak is None:
            caption = f"Zonule loss {hours:g} clock hours, where is not recorded: not drawn."
            self.captions.append(caption)
        elif self.weak is not None:
            start, span = self.weak
            ring = self.face.sector(start, span, *ZONULE)
            self.add('<path class="mark-zonule" d="{}" fill="#fff" stroke="#000" stroke-width="1.2"/>', ring)
            ticks = round(span / 5)
            for n in range(1, ticks):
                (x1, y1), (x2, y2) = (self.face.at(start + span * n / ticks, r) for r in ZONULE)
                self.line("mark-hatching", x1, y1, x2, y2, 1.8)
            end = (start + span - 30) / 30 % 12 + 1
            caption = f"Zonule loss {hours:g} clock hours, from {start / 30:g} to {end:g} o'clock: hatched."
            self.captions.append(caption)

    def line(self, mark: str, x1: float, y1: float, x2: float, y2: float, width: float) -> None:
        place = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"'
        self.add(f'<line class="{mark}" {place} stroke="#000" stroke-width="{width:g}"/>')

    def lens(self) -> None:
        opacity = self.case.in_force.get("opacity")
        tone = _LENS_TONES.get(str(opacity), "#ffffff")
        pupil, radius = self.number("dilated_pupil_mm"), self.pupil_radius
        self.add('<circle class="mark-lens" r="{}" fill="{}"/>', radius, tone)
        if pupil is not None:
            self.captions.append(f"Dilated pupil {pupil:g} mm, to scale.")
        else:
            self.captions.append("Dilated pupil not recorded: dashed, not to scale.")
        self.captions.append(lens_words(opacity))
        if opacity == "total-white":
            for x, y in stipple(radius - 2):
                self.add('<circle cx="{}" cy="{}" r="0.9" fill="#000"/>', x, y)
        if self.case.in_force.get("posterior_polar_opacity") is True:
            size = self.number("polar_opacity_mm")
            self.add('<circle class="mark-polar" r="{}" fill="#000"/>', UNITS * (size or 2.0) / 2)
            if size:
                self.captions.append(f"Posterior polar opacity {size:g} mm: black disc.")
            else:
                self.captions.append("Posterior polar opacity: black disc, its size not recorded.")

    def pupil_and_opening(self) -> None:
        size = planned_opening_mm(self.plan) if self.planned else None
        radius = UNITS * sum(size) / 4 if size else 0.0
        if size:
            self.add('<circle r="{}" fill="none" stroke="#fff" stroke-width="4.6"/>', radius)
        # Over the white border of the opening, which may lie on the pupil's margin.
        dash = "" if self.number("dilated_pupil_mm") is not None else ' stroke-dasharray="5 4"'
        margin = 'fill="none" stroke="#000" stroke-width="1.4"'
        self.add('<circle class="mark-pupil" r="{}" ' + margin + dash + "/>", self.pupil_radius)
        if size is None:
            return
        dashes = 'fill="none" stroke="#000" stroke-width="2.4" stroke-dasharray="8 3.5"'
        self.add('<circle class="mark-opening" r="{}" ' + dashes + "/>", radius)
        least, most = (f"{end:.1f}" for end in size)
        if least == most:
            self.captions.append(f"Planned opening {least} mm: heavy dashes.")
        else:
            self.captions.append(f"Planned opening {least} to {most} mm: heavy dashes.")

    def bleb(self) -> None:
        hour = self.number("bleb_clock_hour")
        if hour is not None:
            self.taken.append(TakenRim(30 * hour, BLEB_HALF))
            arc = self.face.arc(30 * hour, BLEB_HALF, RIM + 6)
            dots = 'fill="none" stroke="#000" stroke-width="4" stroke-dasharray="1.6 2.4"'
            self.add('<path class="mark-bleb" d="{}" ' + dots + "/>", arc)
            self.captions.append(f"Bleb at {hour:g} o'clock: dotted arc, kept clear.")
        elif self.case.in_force.get("previous_trabeculectomy") is True:
            self.captions.append("Bleb not drawn: its clock hour is not recorded.")

    def incisions(self) -> None:
        chosen = self.plan.choices.get("incision")
        if chosen is None:
            return
        if chosen.way.main_incision is None:
            self.captions.append(not_cut(chosen))
            return
        at_seat = chosen.way.main_incision == "open"
        hour = self.face.hour_of(chosen.way.main_incision)
        if any(stretch.holds(30 * hour, INCISION_HALF) for stretch in self.taken):
            self.captions.append("Main incision not drawn: its usual place lies at the bleb.")
            return
        if (
            at_seat
            and self.weak
            and TakenRim(self.weak[0] + self.weak[1] / 2, self.weak[1] / 2).holds(30 * hour, APART)
        ):
            # An incision whose place is open is not shown where the zonule is missing.
            self.captions.append(not_cut(chosen))
            return
        self.taken.append(TakenRim(30 * hour, INCISION_HALF))
        hollow = chosen.provisional or at_seat
        if chosen.way.side_ports:
            self.side_ports(30 * hour, hollow)
        self.cut("mark-incision", 30 * hour, INCISION_HALF, (RIM - 4.5, RIM + 4.5), hollow)
        self.captions.extend(cut_words(chosen, hour))

    def side_ports(self, main: float, hollow: bool) -> None:
        for offset in (-PORT_OFFSET, PORT_OFFSET):
            place = free_place(main + offset, self.taken, PORT_HALF + APART)
            self.taken.append(TakenRim(place, PORT_HALF))
            self.cut("mark-port", place, PORT_HALF, (RIM - 6, RIM + 7), hollow)

    def cut(self, mark: str, place: float, half: float, ends: tuple[float, float], hollow: bool) -> None:
        shape, fill = self.face.sector(place - half, 2 * half, *ends), "#fff" if hollow else "#000"
        self.add('<path class="{}" d="{}" fill="{}" stroke="#000" stroke-width="1.2"/>', mark, shape, fill)

    def devices(self) -> None:
        opening = planned_opening_mm(self.plan)
        edge = UNITS * sum(opening) / 4 if opening else self.pupil_radius
        incision = self.plan.choices.get("incision")
        main = 30.0 * self.face.hour_of(incision.way.main_incision if incision else None)
        marks = 0
        for device in devices_of(self.plan, self.face, main, self.weak, self.pupil_radius, edge, self.taken):
            self.shapes.extend(draw_device(device, self.face))
            self.captions.append(device_caption(device))
            marks += len(device.places)
        if marks:
            self.captions.append(f"{marks} hooks are drawn; places for the surgeon to choose.")
        elif incision is not None and incision.way.side_ports:
            self.captions.append("Places of ports are for the surgeon to choose.")

    def rim_words(self) -> None:
        """Ticks of the clock and, at the rim, which way is which; everything upright."""
        for hour in range(1, 13):
            (x1, y1), (x2, y2) = (self.face.at(30 * hour, r) for r in (RIM + 8, RIM + 11))
            self.line("mark-hour", x1, y1, x2, y2, 0.8)
        eye = self.case.eye
        words = {
            12: "SUPERIOR",
            6: "INFERIOR",
            NASAL_HOUR[eye]: "NASAL",
            TEMPORAL_HOUR[eye]: "TEMPORAL",
        }
        text = '<text x="{}" y="{}" text-anchor="{}" font-weight="700">{}</text>'
        for hour, word in words.items():
            x, y = self.face.at(30 * hour, LABELS)
            if abs(x) < 1:
                self.add(text, 0.0, y + 11 if y > 0 else y, "middle", f"{word} {hour}")
            else:
                anchor: Literal["start", "end"] = "start" if x > 0 else "end"
                self.add(text, x, -2.0, anchor, word)
                self.add(text, x, 14.0, anchor, f"{hour}")
        seat = "seat, if temporal" if self.seat is None else "surgeon's seat"
        self.add('<text x="0" y="{}" text-anchor="middle">{}</text>', LABELS + 28, f"↑ {seat}")

    def svg(self, description: str) -> str:
        # WeasyPrint gives SVG text neither the page's font nor its size: both stand here.
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="eye" role="img" viewBox="{BOX}" '
            f'font-family="{FONT}, sans-serif" font-size="{FONT_SIZE:g}">'
            f"<title>{escape(description)}</title>{''.join(self.shapes)}</svg>"
        )
