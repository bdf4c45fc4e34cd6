"""A tier in words: its range, both its readings, how close the supervisor is."""

from __future__ import annotations

from planner.wording.language import say


def span(least: str, most: str) -> str:
    """Both ends of a range, in words."""
    return say("%(least)s to %(most)s", least=least, most=most)


def tier_possible(least: int, most: int) -> str:
    """The tiers still possible as an addition to one, ` (2 to 3 possible)`; nothing where there is one."""
    return "" if least == most else f" ({say('%(tiers)s possible', tiers=span(str(least), str(most)))})"


def readings(on_record: int | None, working: int, proved: bool = True) -> str:
    """Both readings of the tier in one line; nothing where they are one."""
    if on_record is None:
        return say("On record too little for a technique")
    if on_record == working:
        return ""
    both = say("On record tier %(on_record)s, until known tier %(working)s", on_record=on_record, working=working)
    return both if proved else f"{both} ({say('not proved')})"


def short_readings(on_record: int | None, working: int) -> str:
    """Both readings in a few words, the working one first."""
    if on_record is None:
        return say("%(working)s, too little recorded for a technique", working=working)
    if on_record == working:
        return str(working)
    return say("%(working)s until known, %(on_record)s on record", working=working, on_record=on_record)


def supervision_words(mode: str, supervisor: str) -> str:
    """Where the supervisor is, in the rulebook's words, and who."""
    return say("%(mode)s Supervisor: %(supervisor)s.", mode=mode, supervisor=supervisor)
