"""The face of the drawing: clock hours turned so that the surgeon's seat is at the bottom, and the shapes laid on it.

A turn and never a mirror image: what the microscope shows from a seat is what one sees facing the patient, turned.
Lengths are in units of the drawing, `UNITS` to a millimetre of the eye; x runs to the right and y downward. Angles are
degrees clockwise from 12 o'clock as one faces the patient, whatever the seat.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin
from typing import Literal

from planner.rulebook.plan_shapes import Seat

UNITS = 12.0
# The rim's diameter is a convention of the drawing, not a measurement.
RIM_MM = 12.0
RIM = UNITS * RIM_MM / 2
FULL = 359.9  # an arc of SVG cannot close on itself

TEMPORAL_HOUR = {"right": 9, "left": 3}
NASAL_HOUR = {"right": 3, "left": 9}


@dataclass(frozen=True)
class Face:
    """The clock face of one eye as it lies before a surgeon in this seat."""

    eye: str  # right | left
    seat: Seat

    def hour_of(self, place: Seat | Literal["open"] | None) -> int:
        """The clock hour, as one faces the patient, of a seat or an incision; of the seat where it is open."""
        at = self.seat if place in ("open", None) else place
        return TEMPORAL_HOUR[self.eye] if at == "temporal" else 12

    def at(self, degrees: float, radius: float) -> tuple[float, float]:
        return at_hour(degrees / 30, radius, self.hour_of(self.seat))

    def arc(self, degrees: float, half: float, radius: float) -> str:
        """The path of an arc centred on an angle, `half` degrees to either side."""
        (x1, y1), (x2, y2) = self.at(degrees - half, radius), self.at(degrees + half, radius)
        return f"M{x1:g} {y1:g}A{radius:g} {radius:g} 0 {int(half > 90)} 1 {x2:g} {y2:g}"

    def sector(self, start: float, span: float, inner: float, outer: float) -> str:
        """The path of a piece of a ring, clockwise from `start`; a whole ring is drawn as all but a sliver."""
        span = min(span, FULL)
        large = int(span > 180)
        (ax, ay), (bx, by) = self.at(start, outer), self.at(start + span, outer)
        (cx, cy), (dx, dy) = self.at(start + span, inner), self.at(start, inner)
        out = f"M{ax:g} {ay:g}A{outer:g} {outer:g} 0 {large} 1 {bx:g} {by:g}"
        return f"{out}L{cx:g} {cy:g}A{inner:g} {inner:g} 0 {large} 0 {dx:g} {dy:g}Z"


def at_hour(hour: float, radius: float, bottom: float = 6) -> tuple[float, float]:
    """Where a clock hour lies when the hour `bottom` is at the bottom: x to the right, y downward, hours clockwise.
    With 6 at the bottom the eye lies as one faces the patient."""
    turned = radians(30 * (hour - bottom) + 180)
    return round(radius * sin(turned), 2), round(-radius * cos(turned), 2)


@dataclass(frozen=True)
class TakenRim:
    """A stretch of the rim, in degrees, that nothing else may be put in."""

    centre: float
    half: float

    def holds(self, degrees: float, half: float = 0.0) -> bool:
        """Whether an angle, or a stretch of `half` degrees to either side of it, reaches into this one."""
        return abs((degrees - self.centre + 180) % 360 - 180) < self.half + half


def free_place(wanted: float, taken: list[TakenRim], half: float = 0.0) -> float:
    """The angle nearest to the wanted one, `half` degrees clear of what is taken; the wanted one where all is."""
    near = (wanted + sign * step for step in range(181) for sign in (1, -1))
    return next((place for place in near if not any(stretch.holds(place, half) for stretch in taken)), wanted)


def stipple(radius: float) -> list[tuple[float, float]]:
    """Evenly strewn dots inside a circle, the same every time."""
    golden = 2.399963
    count = max(1, int(radius * radius / 40))
    reach = [(n, radius * ((n + 0.5) / count) ** 0.5) for n in range(count)]
    return [(round(r * cos(n * golden), 1), round(r * sin(n * golden), 1)) for n, r in reach]
