"""A tier in words: its range, both its readings, how close the supervisor is."""

from __future__ import annotations


def span(least: str, most: str) -> str:
    """Both ends of a range, in words."""
    return f"{least} to {most}"


def tier_possible(least: int, most: int) -> str:
    """The tiers still possible as an addition to one, ` (2 to 3 possible)`; nothing where there is one."""
    return "" if least == most else f" ({span(str(least), str(most))} possible)"


def readings(on_record: int | None, working: int, proved: bool = True) -> str:
    """Both readings of the tier in one line; nothing where they are one."""
    if on_record is None:
        return "On record too little for a technique"
    if on_record == working:
        return ""
    both = f"On record tier {on_record}, until known tier {working}"
    return both if proved else f"{both} (not proved)"


def short_readings(on_record: int | None, working: int) -> str:
    """Both readings in a few words, the working one first."""
    if on_record is None:
        return f"{working}, too little recorded for a technique"
    if on_record == working:
        return str(working)
    return f"{working} until known, {on_record} on record"


def supervision_words(mode: str, supervisor: str) -> str:
    """Where the supervisor is, in the rulebook's words, and who."""
    return f"{mode} Supervisor: {supervisor}."
