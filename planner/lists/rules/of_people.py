"""The rules about who operates and who supervises: one function a rule, each saying where it is broken.

A supervisor who is at the table, in the theatre or operating is tied to that session for the whole of it, since nobody
knows beforehand at what minute a case will start.
"""

from __future__ import annotations

from collections.abc import Iterator

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Placing
from planner.lists.week.week import Broken, Week

FROM_OUTSIDE = "on-site"
APPROVAL = "approval-covers"  # broken, nothing of the case is printed or published


def approval_covers(week: Week) -> Iterator[Broken]:
    """What was approved covers who operates and under whom: by the table whoever it is, else what it names alone."""
    for placing in week.lists.placings:
        if why := week.uncovered(placing):
            case = week.case(placing)
            change = "A consultant approves it again, or it comes off."
            if case.approval is not None and case.approval.stands:
                change = "Ask a consultant to approve it so, or name somebody it covers."
            yield Broken(APPROVAL, placing.session, case.told, f"{week.told(placing)}: {why}.", change)


def supervisor_fits(week: Week) -> Iterator[Broken]:
    """The supervisor is on the session, not on leave, of the grade that tier and stage demand, and may be so close."""
    for placing in week.lists.placings:
        for problem, change in _misfits(week, placing):
            told = week.case(placing).told
            yield Broken("supervisor-fits", placing.session, told, f"{week.told(placing)}: {problem}.", change)


def _misfits(week: Week, placing: Placing) -> Iterator[tuple[str, str]]:
    session, supervisor, asked = week.session(placing), week.supervisor(placing), week.supervision(placing)
    whom = f"with {placing.trainee} ({_stage(week, placing)})" if placing.trainee else "without a trainee"
    need = f"tier {week.case(placing).tier} {whom} needs: {asked.mode}, {asked.by}"
    if supervisor.id not in session.supervisors:
        there = ", ".join(session.supervisors) or "nobody"
        yield f"{supervisor.id} is not on this session", f"Name one who is ({there}), or move the case."
    if session.day in supervisor.leave:
        yield week.away(supervisor.id, session.day), "Name another supervisor, or move the case."
    if asked.by == "consultant" and supervisor.grade != "consultant":
        change = "Name a consultant, or another trainee." if placing.trainee else "Name a consultant."
        yield f"{need}; {supervisor.id} is a {supervisor.grade}", change
    elif week.mode_served(placing) is None:
        yield f"{need}; {supervisor.id} supervises only {', '.join(supervisor.can)}", "Name another supervisor."


def supervisor_is_free(week: Week) -> Iterator[Broken]:
    """Scrubbed or operating serves one table, in theatre one room, and from outside no more rooms than stated."""
    for name, supervisor in week.instance.supervisors.items():
        mine = {
            session.id: here
            for session in week.sessions
            if (here := [p for p in week.list_of(session.id) if p.supervisor == name])
        }
        seen: set[frozenset[str]] = set()
        for session in (week.instance.sessions[each] for each in mine):
            others = [other for other in _running_at_start(week, session) if other.id in mine]
            together = frozenset(other.id for other in others)
            if len(others) < 2 or together in seen:
                continue
            seen.add(together)
            tied = [p for other in others for p in mine[other.id] if week.mode_served(p) != FROM_OUTSIDE]
            if tied:
                first, mode = tied[0], week.mode_served(tied[0])
                elsewhere = ", ".join(sorted(together - {first.session}))
                says = f"{week.told(first)} needs {name} ({mode}), and {elsewhere} names {name} at the same time."
                change = "Another supervisor for one of them, or move the case."
                yield Broken("supervisor-is-free", first.session, week.case(first).told, says, change)
            elif len(others) > supervisor.on_site_rooms:
                rooms = ", ".join(other.id for other in others)
                says = f"{name} is to cover {len(others)} rooms from outside at once ({rooms}); the unit's file says "
                says += f"{supervisor.on_site_rooms} at most."
                yield Broken("supervisor-is-free", session.id, None, says, "Another supervisor for one of them.")


def trainee_is_free(week: Week) -> Iterator[Broken]:
    """A trainee is not on leave, and in one room at a time."""
    for placing in week.lists.placings:
        if placing.trainee is None:
            continue
        session, told = week.session(placing), week.case(placing).told
        if session.day in week.instance.trainees[placing.trainee].leave:
            says = f"{week.told(placing)}: {week.away(placing.trainee, session.day)}."
            yield Broken("trainee-is-free", session.id, told, says, "Another trainee, or move the case.")
        for other in week.sessions:
            there = other.id > session.id and any(p.trainee == placing.trainee for p in week.list_of(other.id))
            if there and other.meets(session):
                says = f"{week.told(placing)}: {placing.trainee} is in {other.id} at the same time."
                yield Broken("trainee-is-free", session.id, told, says, "Another trainee in one of them.")


def trainee_has_a_step(week: Week) -> Iterator[Broken]:
    """A trainee who is named takes at least one step that this eye leaves them and that they are cleared for."""
    for placing in week.lists.placings:
        if placing.trainee is None or week.case(placing).agreement is False:  # a refusal is told by its own rule
            continue
        asked, cleared = week.supervision(placing), week.instance.trainees[placing.trainee].steps_cleared
        if not set(asked.steps) & (set(asked.steps) if cleared is None else cleared):
            says = f"{week.told(placing)}: this eye leaves {placing.trainee} no step that they are cleared for."
            change = "Another trainee, or none."
            yield Broken("trainee-has-a-step", placing.session, week.case(placing).told, says, change)


def _running_at_start(week: Week, session: Session) -> list[Session]:
    """The sessions with lists that run when this one starts, itself too: every overlap is seen at some start."""
    begins = session.span[0]
    return [other for other in week.sessions if other.span[0] <= begins < other.span[1]]


def _stage(week: Week, placing: Placing) -> str:
    return week.instance.trainees[placing.trainee].stage if placing.trainee else ""
