"""Hooks and rings on the drawing of the eye: solid where the plan places them, dashed where they are only to hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import degrees

from planner.documents.eye.face import FULL, RIM, UNITS, Face, TakenRim, free_place
from planner.plan.plan import Plan
from planner.rulebook.plan_shapes import Device

# Hooks run in from outside the rim; the one beneath the main incision starts inside its bar.
TAIL, BENEATH = RIM + 7, RIM - 8
# Degrees of the rim to keep free on either side of a hook, and between neighbours along a weak sector.
HOOK_HALF, NEIGHBOURS = 12.0, 30.0
# The tension ring is drawn where the bag's equator lies behind the iris, and is not to scale.
BAG = RIM - 18
GAP_HALF = 14.0  # degrees
BAR = 8.0  # units, the length of the bar in which an iris hook ends
_DASH = ' stroke-dasharray="3 2.4"'


@dataclass(frozen=True)
class PlacedDevice:
    """A device with its hooks (angle, radius at which the shaft starts) where they are drawn; `radius`, in units, is of
    a ring, or of the margin that the hooks hold."""

    planned: Device
    certain: bool
    weak_known: bool
    places: tuple[tuple[float, float], ...]
    radius: float
    gap: float


def devices_of(
    plan: Plan,
    face: Face,
    main: float,
    weak: tuple[float, float] | None,
    pupil: float,
    edge: float,
    taken: list[TakenRim],
) -> list[PlacedDevice]:
    """The devices of every prepared option, hooks set clear of what is `taken`, to which they are added.

    `main` is the angle of the main incision, `weak` start and span of the missing zonule in degrees, None where it
    is not recorded, `pupil` and `edge` the radii of the pupil and of the capsule opening.
    """
    placed = []
    for chosen in plan.choices.values():
        for device in chosen.way.drawn:
            places = []
            for n, wanted in enumerate(_wanted(device, main, weak)):
                beneath = device.beneath_incision and n == 0
                place = wanted if beneath else free_place(wanted, taken, HOOK_HALF)
                crossed = any(stretch.holds(place) for stretch in taken)
                places.append((place, BENEATH if crossed else TAIL))
                taken.append(TakenRim(place, 0.0))
            radius = {"iris-hooks": pupil, "capsule-hooks": edge, "tension-ring": BAG}.get(
                device.device, UNITS * (device.size_mm or 0) / 2
            )
            # A tension ring's gap is drawn away from the weak zonule.
            gap = (weak[0] + weak[1] / 2 if weak else main) + 180
            certain = device.placed == "planned" and not chosen.provisional
            placed.append(PlacedDevice(device, certain, weak is not None, tuple(places), radius, gap))
    return placed


def _wanted(device: Device, main: float, weak: tuple[float, float] | None) -> Iterator[float]:
    """Angles at which hooks would stand, were the whole rim free."""
    if device.marks is None or (device.device == "capsule-hooks" and weak is None):
        return
    if device.device == "iris-hooks":
        first = 0.0 if device.beneath_incision else 0.5
        yield from (main + 360 * (first + n) / device.marks for n in range(device.marks))
    elif weak is not None:
        start, span = weak
        wide = min(max(span, NEIGHBOURS * (device.marks - 1)), 360 - NEIGHBOURS)
        first = start + (span - wide) / 2
        yield from (first + wide * n / max(device.marks - 1, 1) for n in range(device.marks))


def draw_device(device: PlacedDevice, face: Face) -> Iterator[str]:
    """The shapes of a device, each with a white border so that it stands out on any ground."""
    kind = device.planned.device
    dash = "" if device.certain else _DASH
    if kind == "tension-ring":
        path = face.arc(device.gap + 180, FULL / 2 - GAP_HALF, device.radius)
        yield from _bordered(f'path d="{path}"', kind, 1.8, dash)
    elif kind == "pupil-ring":
        yield from _bordered(f'circle r="{device.radius:g}"', kind, 1.8, dash)
        yield from (_loop(*face.at(45 + 90 * n, device.radius)) for n in range(4))
    else:
        for place, start in device.places:
            yield from _hook(kind, face.at(place, start), place, device.radius, dash, face)


def _hook(kind: str, start: tuple[float, float], place: float, radius: float, dash: str, face: Face) -> Iterator[str]:
    (x1, y1), (x2, y2) = start, face.at(place, radius)
    yield from _bordered(f'path d="M{x1:g} {y1:g}L{x2:g} {y2:g}"', kind, 1.8, dash)
    if kind == "capsule-hooks":
        yield _loop(x2, y2)
    else:
        half = degrees(BAR / 2 / radius)
        (ax, ay), (bx, by) = face.at(place - half, radius), face.at(place + half, radius)
        yield from _bordered(f'path d="M{ax:g} {ay:g}L{bx:g} {by:g}"', "hook-end", 2.6, "")


def _loop(x: float, y: float) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="3.6" fill="#fff" stroke="#000" stroke-width="1.6"/>'


def _bordered(shape: str, mark: str, width: float, dash: str) -> Iterator[str]:
    yield f'<{shape} fill="none" stroke="#fff" stroke-width="{width + 2:g}"/>'
    yield f'<{shape} class="mark-{mark}" fill="none" stroke="#000" stroke-width="{width:g}"{dash}/>'


def device_caption(device: PlacedDevice) -> str:
    """What the device is, how it is marked, whether it is only to hand, and the rulebook's note on it."""
    planned = device.planned
    name = _name(planned)
    if planned.number:
        name = f"{name}, {planned.number}"
    if planned.is_hooks and not device.places:
        where_open = planned.marks is not None and not device.weak_known
        why = "the weak clock hours are not recorded" if where_open else "no number is set beforehand"
        return f"{name}: not drawn, {why}; {planned.note}."
    if device.certain:
        return f"{name}: {_mark(planned)}; {planned.note}."
    return f"{name}: dashed {_mark(planned)}, ready, not placed; {planned.note}."


def _name(planned: Device) -> str:
    match planned.device:
        case "iris-hooks":
            return "Iris hooks"
        case "capsule-hooks":
            return "Capsule hooks"
        case "tension-ring":
            return "Tension ring"
        case _:
            return f"Pupil ring {planned.size_mm:g} mm"


def _mark(planned: Device) -> str:
    marks = {
        "iris-hooks": "lines with bars",
        "capsule-hooks": "lines with loops",
        "tension-ring": "ring",
        "pupil-ring": "circle with loops",
    }
    return marks[planned.device]
