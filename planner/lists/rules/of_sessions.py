"""The rules about the room and the clock: one function a rule, each saying in sentences where it is broken."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import ListCase
from planner.lists.week.week import Broken, Week
from planner.truth import Truth
from planner.wording.words import percent


def anaesthetist(week: Week) -> Iterator[Broken]:
    """Where the planned anaesthesia needs an anaesthetist, or may need one, the session has one."""
    for placing in week.lists.placings:
        case, session = week.case(placing), week.session(placing)
        if case.anaesthetist is not False and not session.anaesthetist:
            may = "" if case.anaesthetist else "This may be so, since something is not recorded: "
            says = f"{week.told(placing)}: {may}{week.instance.anaesthetist_because} This session has none."
            yield Broken("anaesthetist", session.id, case.told, says, "Move it to a session with an anaesthetist.")


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
                sets = "no set" if not counted.sets else f"{counted.sets} set{'s' if counted.sets > 1 else ''}"
                says = f"{week.told(placing)} needs {case.kit[item]}: this session has {sets}"
                says += ", not ready again in time." if counted.sets else "."
                change = "Bring another set, change the order, or move the case."
                yield Broken("kit-sets", session.id, case.told, says, change)


def most_cases(week: Week) -> Iterator[Broken]:
    """A session has no more cases than the unit allows it."""
    yield from _beyond(week, "most-cases")


def general_anaesthetics(week: Week) -> Iterator[Broken]:
    """A session has no more general anaesthetics than the unit allows it; what may be one counts."""
    yield from _beyond(week, "general-anaesthetics")


def recovery(week: Week) -> Iterator[Broken]:
    """No more patients of a session need a place in recovery than it has; who may need one counts."""
    yield from _beyond(week, "recovery")


def limits_of(session: Session) -> Iterator[tuple[int, Callable[[ListCase], bool]]]:
    """Each limit that the session has: the most it takes, and whether a case counts."""
    for most, truth, _ in _limits(session).values():
        if most is not None:
            yield most, partial(_counts, truth)


def _counts(truth: Callable[[ListCase], Truth], case: ListCase) -> bool:
    return truth(case) is not False


def _limits(session: Session) -> dict[str, tuple[int | None, Callable[[ListCase], Truth], str]]:
    return {
        "most-cases": (session.most_cases, lambda case: True, ""),
        "general-anaesthetics": (
            session.most_general_anaesthetics, lambda case: case.general_anaesthetic, " under general anaesthesia",
        ),
        "recovery": (session.recovery_places, lambda case: case.recovery, " for recovery"),
    }  # fmt: skip


def _beyond(week: Week, rule: str) -> Iterator[Broken]:
    for session in week.sessions:
        most, truth, what = _limits(session)[rule]
        truths = [truth(week.case(placing)) for placing in week.list_of(session.id)]
        count, unknown = sum(each is not False for each in truths), sum(each is None for each in truths)
        if most is not None and count > most:
            may = f", {unknown} of which only may be, since something is not recorded" if unknown else ""
            says = (
                f"{session.id}: {count} case{'' if count == 1 else 's'}{what}{may}; the session takes {most} at most."
            )
            change = "Move one of them to another session" + (", or ask." if may else ".")
            yield Broken(rule, session.id, None, says, change)


def overrun(week: Week) -> Iterator[Broken]:
    """The chance that a session overruns keeps within the limit."""
    for session in week.sessions:
        chance, limit = week.chance_of_overrun(session.id), week.instance.overrun_chance
        if chance > limit:
            count = len(week.list_of(session.id))
            says = (
                f"{session.id}: {count} case{'s' if count != 1 else ''}, {week.expected_minutes(session.id):.0f} of "
                f"{session.minutes} minutes expected, a chance of {percent(chance)} to overrun; the limit is "
                f"{percent(limit)}."
            )
            yield Broken("overrun", session.id, None, says, "Take a case off, or give one to a faster operator.")
