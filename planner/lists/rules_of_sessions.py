"""The rules about the room and the clock: one function a rule, each saying in sentences where it is broken."""

from __future__ import annotations

from collections.abc import Iterator

from planner.lists.week import Broken, Week
from planner.wording import percent


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
