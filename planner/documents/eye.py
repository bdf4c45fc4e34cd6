"""The eye drawn from the case, as one faces the patient; what is not recorded is dashed and said in words."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from math import cos, radians, sin

from planner.case import Case
from planner.plan.plan import Plan

FONT = "Plan Text"
# Ten units of the drawing are a millimetre of the eye. The rim is a convention of the drawing, not a measurement.
UNITS = 10.0
RIM_MM = 12.0
RIM = UNITS * RIM_MM / 2
UNKNOWN_PUPIL_MM = 6.0
INCISION_HALF_WIDTH = 11.0  # degrees
BLEB_HALF_WIDTH = 20.0  # degrees
PORT_OFFSET = 60.0  # degrees, two clock hours to either side of the main incision

TEMPORAL_HOUR = {"right": 9, "left": 3}
_LENS_TONES = {"partial": "#ebebeb", "total-white": "#ffffff", "total-brown": "#8c8c8c"}
_LENS_WORDS = {"partial": "partly opaque", "total-white": "totally white", "total-brown": "totally brown"}


@dataclass(frozen=True)
class EyeView:
    """The drawing with its words: which way up, and each thing drawn or left out."""

    svg: str
    seat: str
    captions: tuple[str, ...]


def eye_svg(plan: Plan) -> str:
    """The eye of a plan as an SVG element, its description in `<title>`."""
    return eye_view(plan).svg


def eye_view(plan: Plan) -> EyeView:
    """Draw the eye of a plan and say in words what the drawing shows."""
    drawing = _Drawing(plan)
    seat = (
        f"{drawing.eye.capitalize()} eye, drawn as you face the patient: superior at the top, temporal on the "
        f"{'left' if drawing.eye == 'right' else 'right'}. Turn the sheet until your seat is at the bottom."
    )
    drawing.draw()
    return EyeView(drawing.svg(" ".join([seat, *drawing.captions])), seat, tuple(drawing.captions))


def at_hour(hour: float, radius: float) -> tuple[float, float]:
    """A place on the clock face, x to the right and y downward; 12 is up and hours run clockwise."""
    return _polar(30 * hour, radius)


def _polar(degrees: float, radius: float) -> tuple[float, float]:
    return round(radius * sin(radians(degrees)), 2), round(-radius * cos(radians(degrees)), 2)


def planned_opening_mm(plan: Plan) -> tuple[float, float] | None:
    """Least and most diameter of the capsule opening that the prepared option plans, None where it plans none."""
    return next((chosen.opening_mm for chosen in plan.choices.values() if chosen.opening_mm), None)


class _Drawing:
    """Gathers shapes and captions; the order of drawing is from the back of the eye to the front."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.case: Case = plan.assessment.case
        self.eye = self.case.eye
        self.shapes: list[str] = []
        self.captions: list[str] = []

    def draw(self) -> None:
        self.add('<circle r="{}" fill="#cfcfcf" stroke="#000" stroke-width="1.6"/>', RIM)
        self.pupil_and_lens()
        self.opening()
        self.zonule()
        self.incisions()
        self.bleb()
        self.face()

    def add(self, shape: str, *values: float | str) -> None:
        self.shapes.append(shape.format(*(f"{v:g}" if isinstance(v, float) else v for v in values)))

    def number(self, name: str) -> float | None:
        value = self.case.in_force.get(name)
        return value if isinstance(value, float) else None

    def pupil_and_lens(self) -> None:
        opacity = self.case.in_force.get("opacity")
        tone = _LENS_TONES.get(str(opacity), "#ffffff")
        pupil = self.number("dilated_pupil_mm")
        radius = UNITS * (pupil if pupil is not None else UNKNOWN_PUPIL_MM) / 2
        dash = "" if pupil is not None else ' stroke-dasharray="5 4"'
        self.add('<circle r="{}" fill="{}" stroke="#000" stroke-width="1.4"' + dash + "/>", radius, tone)
        self.captions.append(
            f"Dilated pupil {pupil:g} mm, to scale."
            if pupil is not None
            else "Dilated pupil not recorded: dashed, not to scale."
        )
        self.captions.append(f"Lens {_LENS_WORDS.get(str(opacity), 'opacity not recorded')}.")
        if opacity == "total-white":
            for x, y in _stipple(radius - 2):
                self.add('<circle cx="{}" cy="{}" r="0.9" fill="#000"/>', x, y)
        if self.case.in_force.get("posterior_polar_opacity") is True:
            size = self.number("polar_opacity_mm")
            self.add('<circle r="{}" fill="#000"/>', UNITS * (size or 2.0) / 2)
            told = f" {size:g} mm" if size else ", size not recorded"
            self.captions.append(f"Posterior polar opacity{told}.")

    def opening(self) -> None:
        size = planned_opening_mm(self.plan)
        if size is None:
            return
        radius = UNITS * sum(size) / 4
        self.add('<circle r="{}" fill="none" stroke="#fff" stroke-width="4.4"/>', radius)
        self.add('<circle r="{}" fill="none" stroke="#000" stroke-width="2.2" stroke-dasharray="7 3"/>', radius)
        told = " to ".join(dict.fromkeys(f"{end:.1f}" for end in size))
        self.captions.append(f"Planned opening {told} mm: heavy dashes.")

    def zonule(self) -> None:
        hours, start = self.number("zonule_loss_clock_hours"), self.number("zonule_loss_from_clock_hour")
        if hours is None:
            self.captions.append("Zonule loss not recorded.")
        elif hours and start is None:
            self.captions.append(f"Zonule loss {hours:g} clock hours, where is not recorded: not drawn.")
        elif hours and start is not None:
            ring = _sector(start, hours, RIM + 3, RIM + 13)
            self.add('<path d="{}" fill="#fff" stroke="#000" stroke-width="1.2"/>', ring)
            ticks = round(hours * 6)
            for n in range(ticks + 1):
                (x1, y1), (x2, y2) = (at_hour(start + hours * n / ticks, r) for r in (RIM + 3, RIM + 13))
                self.add('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="#000" stroke-width="1.6"/>', x1, y1, x2, y2)
            end = (start + hours - 1) % 12 + 1
            self.captions.append(f"Zonule loss {hours:g} clock hours, from {start:g} to {end:g} o'clock: hatched.")

    def incisions(self) -> None:
        chosen = self.plan.choices.get("incision")
        if chosen is None:
            return
        if chosen.main_incision is None:
            self.captions.append(f"Incision not drawn: {chosen.label[:1].lower()}{chosen.label[1:]}.")
            return
        hour = TEMPORAL_HOUR[self.eye]
        self.add('<path d="{}" fill="none" stroke="#000" stroke-width="8"/>', _arc(hour, INCISION_HALF_WIDTH, RIM))
        self.captions.append(f"Main incision temporal, {hour} o'clock: heavy bar.")
        if chosen.side_ports:
            for offset in (-PORT_OFFSET, PORT_OFFSET):
                (x1, y1), (x2, y2) = (_polar(30 * hour + offset, r) for r in (RIM - 5, RIM + 6))
                self.add('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="#000" stroke-width="4"/>', x1, y1, x2, y2)
            self.captions.append("Side ports: short bars, places for the surgeon to choose from.")

    def bleb(self) -> None:
        hour = self.number("bleb_clock_hour")
        if hour is not None:
            arc = _arc(hour, BLEB_HALF_WIDTH, RIM + 9)
            self.add('<path d="{}" fill="none" stroke="#000" stroke-width="2" stroke-dasharray="2 2"/>', arc)
            self.captions.append(f"Bleb at {hour:g} o'clock: dotted arc.")

    def face(self) -> None:
        """The clock face and, at its rim, which way is which."""
        for hour in range(1, 13):
            (x1, y1), (x2, y2) = (at_hour(hour, r) for r in (RIM + 15, RIM + 18))
            self.add('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="#000" stroke-width="0.8"/>', x1, y1, x2, y2)
        left, right = ("TEMPORAL", "NASAL") if self.eye == "right" else ("NASAL", "TEMPORAL")
        label = '<text x="{}" y="{}" text-anchor="{}" font-weight="700">{}</text>'
        hour_ = '<text x="{}" y="{}" text-anchor="{}">{}</text>'
        self.add(label, 0.0, -(RIM + 35), "middle", "SUPERIOR")
        self.add(hour_, 0.0, -(RIM + 21), "middle", "12")
        self.add(hour_, 0.0, RIM + 30, "middle", "6")
        self.add(label, 0.0, RIM + 45, "middle", "INFERIOR")
        self.add(label, -(RIM + 22), -3.0, "end", left)
        self.add(hour_, -(RIM + 22), 12.0, "end", "9")
        self.add(label, RIM + 22, -3.0, "start", right)
        self.add(hour_, RIM + 22, 12.0, "start", "3")

    def svg(self, description: str) -> str:
        # WeasyPrint gives SVG text neither the page's font nor its size: both stand here.
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" class="eye" role="img" viewBox="-160 -112 320 224" '
            f'font-family="{FONT}, sans-serif" font-size="15.5">'
            f"<title>{escape(description)}</title>{''.join(self.shapes)}</svg>"
        )


def _arc(hour: float, half_width: float, radius: float) -> str:
    """An arc centred on an hour, `half_width` degrees to either side."""
    (x1, y1), (x2, y2) = _polar(30 * hour - half_width, radius), _polar(30 * hour + half_width, radius)
    return f"M{x1:g} {y1:g}A{radius:g} {radius:g} 0 0 1 {x2:g} {y2:g}"


def _sector(start: float, hours: float, inner: float, outer: float) -> str:
    """A ring sector clockwise from `start`; a whole ring is drawn as all but a sliver."""
    span = min(30 * hours, 359.9)
    large = int(span > 180)
    (ax, ay), (bx, by) = _polar(30 * start, outer), _polar(30 * start + span, outer)
    (cx, cy), (dx, dy) = _polar(30 * start + span, inner), _polar(30 * start, inner)
    out = f"M{ax:g} {ay:g}A{outer:g} {outer:g} 0 {large} 1 {bx:g} {by:g}"
    return f"{out}L{cx:g} {cy:g}A{inner:g} {inner:g} 0 {large} 0 {dx:g} {dy:g}Z"


def _stipple(radius: float) -> list[tuple[float, float]]:
    """Evenly strewn dots inside a circle, the same every time."""
    golden = 2.399963
    count = max(1, int(radius * radius / 36))
    reach = [(n, radius * ((n + 0.5) / count) ** 0.5) for n in range(count)]
    return [(round(r * cos(n * golden), 1), round(r * sin(n * golden), 1)) for n, r in reach]
