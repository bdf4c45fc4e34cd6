"""Values as they are written, read into what the vocabulary holds: days, Snellen fractions, clock hours."""

from __future__ import annotations

import datetime
import math
import re


def logmar_of(raw: str) -> float:
    """The logMAR of a Snellen fraction such as 6/18 or 20/60, to the nearest letter (0.02). Raises ValueError."""
    parts = re.fullmatch(r"(\d{1,3}(?:\.\d)?)\s*/\s*(\d{1,4}(?:\.\d)?)", raw)
    if parts is None or not (float(parts[1]) and float(parts[2])):
        how = "write it like 6/18 or 20/60 (single letters left off), or the logMAR itself"
        raise ValueError(f"{raw[:40]!r} is no Snellen fraction; {how}")
    return round(round(math.log10(float(parts[2]) / float(parts[1])) / 0.02) * 0.02, 2)


def quadrants(hour: float, width: float, eye: str) -> frozenset[str]:
    """The quadrants that a clock hour lies in, or that a gap from it runs through clockwise for `width` clock hours.

    Clock hours are of the eye as one faces the patient: temporal is 9 in a right eye and 3 in a left. A quadrant holds
    the three hours round its middle; a gap is sampled every half hour, its end left out.
    """
    three, nine = ("nasal", "temporal") if eye == "right" else ("temporal", "nasal")
    named = ("superior", three, "inferior", nine)
    steps = max(1, math.ceil(width * 2))
    return frozenset(named[round((hour + step / 2) % 12 / 3) % 4] for step in range(steps))


def read_day(raw: object) -> datetime.date | None:
    """The day of YYYY-MM-DD, None for anything else (20261102 and 2026-W45-1 are left to other readers)."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", str(raw), re.ASCII):
        return None
    try:
        return datetime.date.fromisoformat(str(raw))
    except ValueError:
        return None
