"""What is said of the drawing of the eye: the seat, the lens, and where one cuts."""

from __future__ import annotations

from planner.documents.eye.face import Face
from planner.plan.plan import PlannedChoice
from planner.wording.language import say
from planner.wording.words import lower_first


def seat_words(face: Face, left_open: bool) -> str:
    """Which eye, from which seat, and how its clock hours are counted; `left_open` where the plan names no seat."""
    said = [_seen(face), say("Clock hours as one faces the patient.")]
    if left_open:
        said.append(say("The plan leaves the seat open."))
    return " ".join(said)


def _seen(face: Face) -> str:
    match face.eye, face.seat:
        case "right", "temporal":
            return say("Right eye, drawn for a temporal seat: superior on the left.")
        case "left", "temporal":
            return say("Left eye, drawn for a temporal seat: superior on the right.")
        case "right", _:
            return say("Right eye, drawn for a superior seat: temporal on the right.")
        case _:
            return say("Left eye, drawn for a superior seat: temporal on the left.")


def lens_words(opacity: object) -> str:
    """How opaque the lens is and how that is shown."""
    match opacity:
        case "partial":
            return say("Lens partly opaque: pale.")
        case "total-white":
            return say("Lens totally white: dotted.")
        case "total-brown":
            return say("Lens totally brown: dark.")
        case _:
            return say("Lens opacity not recorded.")


def not_cut(chosen: PlannedChoice) -> str:
    """Said where no incision is drawn: the option's own label."""
    return say("Incision not drawn: %(what)s.", what=lower_first(chosen.label))


def cut_words(chosen: PlannedChoice, hour: int) -> list[str]:
    """Where the main incision and the ports are drawn, solid where the plan fixes them."""
    said = []
    match chosen.way.main_incision:
        case "open":
            what = lower_first(chosen.label)
            said.append(say("Incision, %(what)s: hollow bar at the seat, for the surgeon to place.", what=what))
        case "temporal":
            said.append(say("Main incision temporal, %(hour)s o'clock: heavy bar.", hour=hour))
        case _:
            said.append(say("Main incision superior, %(hour)s o'clock: heavy bar.", hour=hour))
    if chosen.way.side_ports == 1:
        said.append(say("One side port: at either short bar."))
    elif chosen.way.side_ports:
        said.append(say("Side ports: short bars."))
    if chosen.provisional and chosen.way.main_incision != "open":
        said.append(say("Hollow bars: prepared, another place still possible."))
    return said
