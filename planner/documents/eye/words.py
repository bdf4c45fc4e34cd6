"""What is said of the drawing of the eye: the seat, the lens, and where one cuts."""

from __future__ import annotations

from planner.documents.eye.face import Face
from planner.plan.plan import PlannedChoice
from planner.wording.words import lower_first


def seat_words(face: Face, left_open: bool) -> str:
    """Which eye, from which seat, and how its clock hours are counted; `left_open` where the plan names no seat."""
    said = [_seen(face), "Clock hours as one faces the patient."]
    if left_open:
        said.append("The plan leaves the seat open.")
    return " ".join(said)


def _seen(face: Face) -> str:
    match face.eye, face.seat:
        case "right", "temporal":
            return "Right eye, drawn for a temporal seat: superior on the left."
        case "left", "temporal":
            return "Left eye, drawn for a temporal seat: superior on the right."
        case "right", _:
            return "Right eye, drawn for a superior seat: temporal on the right."
        case _:
            return "Left eye, drawn for a superior seat: temporal on the left."


def lens_words(opacity: object) -> str:
    """How opaque the lens is and how that is shown."""
    match opacity:
        case "partial":
            return "Lens partly opaque: pale."
        case "total-white":
            return "Lens totally white: dotted."
        case "total-brown":
            return "Lens totally brown: dark."
        case _:
            return "Lens opacity not recorded."


def not_cut(chosen: PlannedChoice) -> str:
    """Said where no incision is drawn: the option's own label."""
    return f"Incision not drawn: {lower_first(chosen.label)}."


def cut_words(chosen: PlannedChoice, hour: int) -> list[str]:
    """Where the main incision and the ports are drawn, solid where the plan fixes them."""
    said = []
    match chosen.way.main_incision:
        case "open":
            what = lower_first(chosen.label)
            said.append(f"Incision, {what}: hollow bar at the seat, for the surgeon to place.")
        case "temporal":
            said.append(f"Main incision temporal, {hour} o'clock: heavy bar.")
        case _:
            said.append(f"Main incision superior, {hour} o'clock: heavy bar.")
    if chosen.way.side_ports == 1:
        said.append("One side port: at either short bar.")
    elif chosen.way.side_ports:
        said.append("Side ports: short bars.")
    if chosen.provisional and chosen.way.main_incision != "open":
        said.append("Hollow bars: prepared, another place still possible.")
    return said
