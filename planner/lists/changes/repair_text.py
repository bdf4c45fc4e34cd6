"""A repair in words, for the command line and the page alike: first what the organiser must know."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from planner.lists.changes.differences import ChangeKind, ListChange, kind_of
from planner.lists.changes.repair import CaseOff, Repair, Unlocking
from planner.lists.week.instance import Key, Placing
from planner.lists.week.week import Week

_COUNTED: dict[ChangeKind, tuple[str, str]] = {
    "session": ("goes to another session", "go to another session"),
    "people": ("has other people", "have other people"),
    "order": ("is in another order", "are in another order"),
    "new": ("comes on", "come on"),
}


def headline(repair: Repair) -> str:
    """Who loses a place, and how much changes: `Nobody loses a place. 3 cases have other people, 5 stay as ...`"""
    gone = [off for off in repair.off if not off.because]
    cancelled = len(repair.off) - len(gone)
    if gone:
        cases = "; ".join(_in_words(repair, off.case) for off in gone)
        first = f"{_cases(len(gone), 'loses its place', 'lose their place')}: {cases}"
    else:
        first = f"Nobody {'else ' if cancelled else ''}loses a place"
    kinds = Counter(one.kind for one in repair.changes)
    counts = [_cases(kinds[kind], *words) for kind, words in _COUNTED.items() if kinds[kind]]
    if stay(repair):
        counts.append(_cases(stay(repair), "stays as it is", "stay as they are"))
    if not repair.changes and not repair.off:
        return "Nothing has to change." if repair.verdict.stands else "Nothing that may be changed would mend it."
    # `3 cases have other people, 1 comes on`: what is counted is said once.
    rest = [*counts[:1], *(one.replace(" cases ", " ").replace(" case ", " ") for one in counts[1:])]
    summary = f"{first}. {', '.join(rest)}." if rest else f"{first}."
    broken = "" if repair.verdict.stands else "A rule stays broken, since what is begun or locked is left alone. "
    return f"{broken}{summary}"


def stay(repair: Repair) -> int:
    """How many cases of the days concerned stay as they are."""
    sessions, changed = repair.instance.sessions, {one.case for one in repair.changes}
    here = [p for p in repair.lists.placings if sessions[p.session].day in repair.after.days]
    return sum(placing.case not in changed for placing in here)


def how_sure(repair: Repair) -> str:
    """Whether a smaller change may exist; empty where nothing changes."""
    if not repair.changes:
        return ""
    if not repair.proved:
        return "None of these changes can be undone alone; that no smaller one exists is not proved, the search ended."
    return "No smaller change keeps every rule." if repair.verdict.stands else "No smaller change leaves as few broken."


def as_of(repair: Repair) -> str:
    """`As of 08:50 on Tue 2026-12-01.`; empty where the time was not told."""
    now = repair.after.now
    return f"As of {now:%H:%M} on {now:%a} {now.date()}: nothing is put before that." if now else ""


def troubles(repair: Repair) -> Iterator[str]:
    """What no longer stands: sessions that are lost, and then each rule that is broken."""
    stranded = dict(repair.stranded)
    for name in dict.fromkeys(placing.session for placing in repair.before.placings):
        if name in repair.after.lost:
            count = sum(placing.case in stranded for placing in repair.before.placings if placing.session == name)
            yield f"{name} is lost ({repair.after.lost[name]}): {_cases(count, 'needs', 'need')} another place."
    for one in repair.broken:
        if one.session not in repair.after.lost:
            yield one.says


def not_begun(repair: Repair) -> Iterator[str]:
    """In each theatre that stands idle by what was told: the next case, if by the clock it should be done."""
    if (now := repair.after.now) is None:
        return
    week, planned = Week(repair.instance, repair.before), Week(replace(repair.instance, taken={}), repair.before)
    for session in week.sessions:
        gone, to_come = (now - session.span[0]).total_seconds() / 60, week.to_come(session.id)
        if session.day == now.date() and to_come and repair.instance.taken.get(session.id) == gone:
            first = to_come[0]
            done = planned.starts(session.id)[first.place - 1] + week.time(first).mean + week.case(first).added_minutes
            ends = session.span[0] + datetime.timedelta(minutes=done)
            if ends < now:
                yield f"{week.in_words(first)}, would be done by {ends:%H:%M} as planned; it counts as not begun."


def difference(repair: Repair, one: ListChange) -> str:
    """`L-403, left eye, number 1 in tue-1-a (theatre 1): consultant-1 supervises instead of trainer-1.`"""
    assert one.now is not None
    at = f"{one.now.session} ({repair.instance.sessions[one.now.session].theatre})"
    case, where = _in_words(repair, one.case), f"number {one.now.place} in {at}"
    if one.was is None:
        return f"{case} comes on as {where}: {who(one.now)}."
    people = _people(one.was, one.now)
    if one.kind == "session":
        goes = f"{case} goes to {at} as number {one.now.place}, from {one.was.session}"
        return f"{goes}: {people or who(one.now)}."
    if one.kind == "order":
        return f"{case} is now {where}, was number {one.was.place}."
    return f"{case}, {where}: {people}."


def _people(was: Placing, now: Placing) -> str:
    """Who does what instead of whom; empty where the people are the same."""
    if was.trainee != now.trainee and now.trainee is None:
        without = was.trainee if was.supervisor == now.supervisor else f"{was.trainee} and {was.supervisor}"
        return f"{now.supervisor} operates, without {without}"
    parts = []
    if was.trainee != now.trainee:
        parts.append(f"{now.trainee} comes in" if was.trainee is None else f"{now.trainee} instead of {was.trainee}")
    if was.supervisor != now.supervisor:
        does = "operates" if now.trainee is None else "supervises"
        parts.append(f"{now.supervisor} {does} instead of {was.supervisor}")
    return ", ".join(parts)


def who(placing: Placing) -> str:
    """`trainee-3, consultant-1`, or that the consultant operates alone."""
    return f"{placing.supervisor} operates" if placing.trainee is None else f"{placing.trainee}, {placing.supervisor}"


def came_off(repair: Repair, off: CaseOff) -> str:
    """Why a case comes off, and where it could go."""
    why = off.because or "no place that day keeps every rule"
    if off.later is None:
        return f"{why}. No later place keeps every rule."
    session = repair.instance.sessions[off.later.session]
    could = "Once that is settled, it could go" if off.because else "It could go"
    return f"{why}. {could} to {session.in_words}: {who(off.later)}."


def unlocking(repair: Repair, one: Unlocking) -> str:
    """`H-12, right eye is locked in tue-1-a because: ... Unlocked, it could go to ..., and then H-7 keeps ...`"""
    locks, goes = [], []
    for freed in one.freed:
        name, because = _in_words(repair, freed.case), f" because: {freed.why}" if freed.why else ""
        locks.append(f"{name} is locked in {freed.was.session}{because}")
        goes.append(f"{'it' if len(one.freed) == 1 else name} {_would(freed.was, freed.now)}")
    gives = ["; ".join(_in_words(repair, key) for key in one.keep)] if one.keep else []
    gives = [f"{names} {'keeps its place' if len(one.keep) == 1 else 'keep their place'}" for names in gives]
    gives += ["every rule is kept"] if one.stands and not repair.verdict.stands else []
    then = f", and then {' and '.join(gives)}" if gives else ""
    return f"{'; '.join(locks)}. Unlocked, {', '.join(goes)}{then}."


def _would(was: Placing, now: Placing | None) -> str:
    if now is None:
        return "would come off that day"
    match kind_of(was, now):
        case "session":
            return f"could go to {now.session} ({who(now)})"
        case "people":
            return f"could have other people ({who(now)})"
    return "could stand at another place of the list"


def people(repair: Repair) -> list[str]:
    """Everybody whose cases change, and those who are off."""
    placings = [placing for one in repair.changes for placing in (one.was, one.now) if placing is not None]
    cancelled = {off.case for off in repair.off if off.because}
    names = [name for p in placings if p.case not in cancelled for name in (p.supervisor, p.trainee) if name]
    return list(dict.fromkeys(names))


def other_eyes(repair: Repair, key: Key) -> Iterator[str]:
    """The same patient's other eye, where it is on another list."""
    patient = repair.instance.cases[key].patient
    for placing in repair.lists.placings:
        if patient and placing.case != key and repair.instance.cases[placing.case].patient == patient:
            session = repair.instance.sessions[placing.session].in_words
            yield f"The other eye of {patient} is in {session}: the surgeon says whether it may be done first."


def _in_words(repair: Repair, key: Key) -> str:
    return repair.instance.cases[key].in_words


def _cases(count: int, one: str, more: str) -> str:
    return f"{count} case {one}" if count == 1 else f"{count} cases {more}"
