"""The rules about the room and the clock: who and what must be there, the order of a list, and how much it holds."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from functools import partial

from planner.lists.roster.shapes import Session
from planner.lists.rules.facts import BEGUN, HOURS, KIT, OPERATING
from planner.lists.rules.rule import Broken, ListRule, case_rule, rule
from planner.lists.week.instance import FixedOrder, ListCase, Placing
from planner.lists.week.week import Week


@case_rule(
    "an anaesthetist is there where one is needed",
    *("case.anaesthetist", "session.anaesthetist", "instance.anaesthetist_because"),
)
def anaesthetist(week: Week, placing: Placing) -> Iterator[Broken]:
    """Where the planned anaesthesia needs an anaesthetist, or may need one, the session has one."""
    needed = week.case(placing).anaesthetist
    if needed is not False and not week.session(placing).anaesthetist:
        may = "" if needed else "This may be so, since something is not recorded: "
        says, change = f"{{at}}: {may}{{because}} This session has none.", "Move it to a session with an anaesthetist."
        yield anaesthetist.broken(placing, says, change, because=week.instance.anaesthetist_because)


@rule(
    "a set of the kit it must have is ready",
    *(KIT, "session.kit", *OPERATING),
    scope="list",
    of_order=True,
    modelled=True,
)
def kit_sets(week: Week) -> Iterator[Broken]:
    """A counted set is in the room for every case that must have it, used ones only once they are ready again."""
    for session in week.sessions:
        placings, starts = week.list_of(session.id), week.starts(session.id)
        for item, counted in session.kit.items():
            ready_at = [0.0] * counted.sets
            for placing, start in zip(placings, starts, strict=True):
                case = week.case(placing)
                if item not in case.kit:
                    continue
                ready_at.sort()
                if ready_at and ready_at[0] <= start:
                    again = counted.ready_again_after
                    ready_at[0] = (
                        float("inf") if again is None else start + week.time(placing).mean + case.added_minutes + again
                    )
                    continue
                sets = "{sets} sets" if counted.sets > 1 else "{sets} set" if counted.sets else "no set"
                says = f"{{at}} needs {{item}}: this session has {sets}"
                says += ", not ready again in time." if counted.sets else "."
                change = "Bring another set, change the order, or move the case."
                yield kit_sets.broken(placing, says, change, item=case.kit[item], sets=counted.sets)


@rule("nothing is put before a case that is done or in hand", BEGUN, scope="list", of_order=True, modelled=True)
def begun_first(week: Week) -> Iterator[Broken]:
    """Whatever is done or in hand stays the beginning of its list."""
    for session in week.sessions:
        placings = week.list_of(session.id)
        last = next((placing for placing in reversed(placings) if placing.case in week.instance.begun), None)
        for placing in placings:
            if last is not None and placing.place < last.place and placing.case not in week.instance.begun:
                says, change = "{at} comes before {last}, which is done or in hand.", "Put it after number {number}."
                yield begun_first.broken(placing, says, change, last=last.case, number=last.place)


@rule(
    "cases with a fixed place keep it in the theatre's whole day",
    *("case.order", "instance.order", "session.theatre", *HOURS),
    scope="theatre",
    of_order=True,
    modelled=True,
)
def fixed_order(week: Week) -> Iterator[Broken]:
    """Cases with a fixed place keep it in their theatre's whole day, one list after the other.

    First those who must be first, then those in whom that is not recorded, then all others. Those who must be last
    have nobody after them but others who must.
    """
    for placings in week.room_days:
        for order in week.instance.order:
            ranks = [order.rank(week.case(placing)) for placing in placings]
            for n, placing in enumerate(placings):
                if order.first:
                    wrong = next((m for m in range(n) if ranks[m] > ranks[n]), None)
                else:
                    wrong = next((m for m in range(n + 1, len(placings)) if ranks[m] < ranks[n]), None)
                if wrong is not None:
                    yield _misplaced(week, order, placing, placings[wrong])


def _misplaced(week: Week, order: FixedOrder, one: Placing, other: Placing) -> Broken:
    """What is wrong with the place of `one`, in view of `other`."""
    here = one.session == other.session
    day = "" if here else " in {theatre} that day"
    if week.case(one).order[order.id] is None:
        says = "{at}: not recorded: {asked}. {other} comes before it, where it is recorded as absent."
        change = f"Ask and record it, or put it before all such cases{day} ({{basis}})."
    else:
        says = f"{{at}}: {{because}} {{other}} comes {'before' if order.first else 'after'} it."
        change = f"Put it {'first' if order.first else 'last'}{day} ({{basis}})."
    return fixed_order.broken(
        one, says, change, asked=order.asked, because=order.because, basis=order.basis,
        other=other.case if here else other, theatre=week.session(one).theatre,
    )  # fmt: skip


def nights_before(week: Week) -> Iterator[Broken]:
    """The theatres that begin with a case that must be first, or may, after a session of the day before into the night.

    Nobody knows from the lists whether such a theatre was free of what harms that case by the morning; a session that
    has no list of ours may still be somebody's.
    """
    evenings: dict[tuple[datetime.date, str], Session] = {}
    for there in sorted(week.instance.sessions.values(), key=lambda one: one.span[1]):
        evenings[there.day, there.room] = there
    for first in (placings[0] for placings in week.room_days):
        session, case = week.session(first), week.case(first)
        evening = evenings.get((session.day - datetime.timedelta(days=1), session.room))
        if evening is None or evening.span[1] <= datetime.datetime.combine(evening.day, week.instance.night_from):
            continue
        for order in (order for order in week.instance.order if order.first and case.order[order.id] is not False):
            says = "{at}: {evening} runs in {theatre} until {until:%H:%M} the evening before."
            yield fixed_order.broken(
                first, says, "Ask whether the theatre has rested since. {because}", evening=evening.id,
                theatre=evening.theatre, until=evening.span[1], because=order.because,
            )  # fmt: skip


@rule("no more cases than the session takes", "session.most_cases", scope="list", modelled=True)
def most_cases(week: Week) -> Iterator[Broken]:
    yield from _beyond(week, most_cases)


@rule(
    "no more general anaesthetics than the session takes",
    *("case.general_anaesthetic", "session.most_general_anaesthetics"),
    scope="list",
    modelled=True,
)
def general_anaesthetics(week: Week) -> Iterator[Broken]:
    """What may be one counts."""
    yield from _beyond(week, general_anaesthetics)


@rule(
    "no more patients for recovery than it has places",
    *("case.recovery", "session.recovery_places"),
    scope="list",
    modelled=True,
)
def recovery(week: Week) -> Iterator[Broken]:
    """Who may need a place counts."""
    yield from _beyond(week, recovery)


# Of each limit: the field of the session, what of a case counts (None: every case), and the words for it.
_LIMITS = {
    most_cases.id: ("most_cases", None, ""),
    general_anaesthetics.id: ("most_general_anaesthetics", "general_anaesthetic", " under general anaesthesia"),
    recovery.id: ("recovery_places", "recovery", " for recovery"),
}


def limits_of(session: Session) -> Iterator[tuple[int, Callable[[ListCase], bool]]]:
    """Each limit that the session has: the most it takes, and whether a case counts."""
    for field, counted, _ in _LIMITS.values():
        if (most := getattr(session, field)) is not None:
            yield most, partial(_may_count, counted)


def _may_count(counted: str | None, case: ListCase) -> bool:
    return counted is None or getattr(case, counted) is not False


def _beyond(week: Week, limit: ListRule) -> Iterator[Broken]:
    field, counted, what = _LIMITS[limit.id]
    for session in week.sessions:
        if (most := getattr(session, field)) is None:
            continue
        cases = [week.case(placing) for placing in week.list_of(session.id)]
        count = sum(_may_count(counted, case) for case in cases)
        if count > most:
            unknown = sum(counted is not None and getattr(case, counted) is None for case in cases)
            may = ", {unknown} of which only may be, since something is not recorded" if unknown else ""
            says = f"{{at}}: {{count}} case{'' if count == 1 else 's'}{what}{may}; the session takes {{most}} at most."
            change = "Move one of them to another session" + (", or ask." if may else ".")
            yield limit.broken(session.id, says, change, count=count, unknown=unknown, most=most)


@rule(
    "the session's chance of overrun keeps within the limit",
    *("session.minutes", "instance.overrun_chance", *OPERATING),
    scope="list",
    modelled=True,
)
def overrun(week: Week) -> Iterator[Broken]:
    """The chance that a session overruns keeps within the limit."""
    for session in week.sessions:
        chance, limit = week.chance_of_overrun(session.id), week.instance.overrun_chance
        if chance > limit:
            count = len(week.list_of(session.id))
            says = (
                f"{{at}}: {{count}} case{'s' if count != 1 else ''}, {{expected:.0f}} of {{minutes}} minutes expected, "
                "a chance of {chance:percent} to overrun; the limit is {limit:percent}."
            )
            change = "Take a case off, or give one to a faster operator."
            yield overrun.broken(
                session.id, says, change, count=count, expected=week.expected_minutes(session.id),
                minutes=session.minutes, chance=chance, limit=limit,
            )  # fmt: skip
