"""The rules about who operates and who supervises.

A supervisor who is at the table, in the theatre or operating is tied to that session for the whole of it, since nobody
knows beforehand at what minute a case will start.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planner.lists.rules.facts import APPROVAL, HOURS, ON_SESSION, SUPERVISION, SUPERVISORS_LEAVE, TRAINEES_LEAVE
from planner.lists.rules.rule import Broken, Fact, case_rule, rule
from planner.lists.week.instance import Placing
from planner.lists.week.week import Week

FROM_OUTSIDE = "on-site"
AWAY_BECAUSE = Fact("instance.away_because")


@case_rule("a consultant approved it for whoever operates", APPROVAL, *SUPERVISION, "supervisor.grade")
def approval_covers(week: Week, placing: Placing) -> Iterator[Broken]:
    """What was approved covers who operates and under whom: by the table whoever it is, else what it names alone.

    Broken, nothing of the case is printed or published.
    """
    if why := week.uncovered(placing):
        approval = week.case(placing).approval
        change = "A consultant approves it again, or it comes off."
        if approval is not None and approval.stands:
            change = "Ask a consultant to approve it so, or name somebody it covers."
        yield approval_covers.broken(placing, "{at}: {why}.", change, _people(placing), why=why)


@case_rule(
    "the supervisor is there and is the one that tier and stage demand",
    *(*SUPERVISION, "supervisor.grade", SUPERVISORS_LEAVE, ON_SESSION, "case.tier"),
    *("session.day", AWAY_BECAUSE),
)
def supervisor_fits(week: Week, placing: Placing) -> Iterator[Broken]:
    """The supervisor is on the session, not on leave, of the grade that tier and stage demand, and may be so close."""
    session, supervisor, asked = week.session(placing), week.supervisor(placing), week.supervision(placing)
    whom = "with {trainee} ({stage})" if placing.trainee else "without a trainee"
    need = f"tier {{tier}} {whom} needs: {{mode}}, {{by}}"
    facts: dict[str, Any] = {
        "supervisor": supervisor.id, "grade": supervisor.grade, "can": ", ".join(supervisor.can),
        "there": ", ".join(session.supervisors) or "nobody", "trainee": placing.trainee,
        "stage": week.instance.trainees[placing.trainee].stage if placing.trainee else "",
        "tier": week.case(placing).tier, "mode": asked.mode, "by": asked.by,
    }  # fmt: skip
    problems = []
    if supervisor.id not in session.supervisors:
        problems.append(("{supervisor} is not on this session", "Name one who is ({there}), or move the case."))
    if session.day in supervisor.leave:
        facts["away"] = week.away(supervisor.id, session.day)
        problems.append(("{away}", "Name another supervisor, or move the case."))
    if asked.by == "consultant" and supervisor.grade != "consultant":
        change = "Name a consultant, or another trainee." if placing.trainee else "Name a consultant."
        problems.append((f"{need}; {{supervisor}} is a {{grade}}", change))
    elif week.mode_served(placing) is None:
        problems.append((f"{need}; {{supervisor}} supervises only {{can}}", "Name another supervisor."))
    for problem, change in problems:
        yield supervisor_fits.broken(placing, f"{{at}}: {problem}.", change, _people(placing), **facts)


@rule(
    "the supervisor is not needed elsewhere at that time",
    *(*SUPERVISION, "supervisor.on_site_rooms", *HOURS),
    scope="supervisor",
    modelled=True,
)
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
            # Those that run when this one starts, itself too: every overlap is seen at some start.
            begins = session.span[0]
            others = [one for one in week.sessions if one.id in mine and one.span[0] <= begins < one.span[1]]
            together = frozenset(other.id for other in others)
            if len(others) < 2 or together in seen:
                continue
            seen.add(together)
            tied = [p for other in others for p in mine[other.id] if week.mode_served(p) != FROM_OUTSIDE]
            if tied:
                first, elsewhere = tied[0], ", ".join(sorted(together - {tied[0].session}))
                says = "{at} needs {name} ({mode}), and {elsewhere} names {name} at the same time."
                change = "Another supervisor for one of them, or move the case."
                mode = week.mode_served(first)
                yield supervisor_is_free.broken(first, says, change, [name], name=name, mode=mode, elsewhere=elsewhere)
            elif len(others) > supervisor.on_site_rooms:
                says = "{name} is to cover {count} rooms from outside at once ({rooms}); the unit's file says "
                says += "{most} at most."
                rooms, most = ", ".join(other.id for other in others), supervisor.on_site_rooms
                change = "Another supervisor for one of them."
                yield supervisor_is_free.broken(
                    session.id, says, change, [name], name=name, count=len(others), rooms=rooms, most=most
                )


@rule(
    "the trainee is not away, nor elsewhere at that time",
    *(TRAINEES_LEAVE, *HOURS, AWAY_BECAUSE),
    scope="trainee",
    modelled=True,
)
def trainee_is_free(week: Week) -> Iterator[Broken]:
    """A trainee is not on leave, and in one room at a time."""
    for placing in week.lists.placings:
        if placing.trainee is None:
            continue
        session, trainee = week.session(placing), placing.trainee
        if session.day in week.instance.trainees[trainee].leave:
            away = week.away(trainee, session.day)
            yield trainee_is_free.broken(
                placing, "{at}: {away}.", "Another trainee, or move the case.", [trainee], away=away
            )
        for other in week.sessions:
            there = other.id > session.id and any(p.trainee == trainee for p in week.list_of(other.id))
            if there and other.meets(session):
                says, change = "{at}: {trainee} is in {elsewhere} at the same time.", "Another trainee in one of them."
                yield trainee_is_free.broken(placing, says, change, [trainee], trainee=trainee, elsewhere=other.id)


@case_rule(
    "the trainee has a step to take", "case.with_stage", "case.agreement", "trainee.stage", "trainee.steps_cleared"
)
def trainee_has_a_step(week: Week, placing: Placing) -> Iterator[Broken]:
    """A trainee who is named takes at least one step that this eye leaves them and that they are cleared for."""
    if placing.trainee is None or week.case(placing).agreement is False:  # a refusal is told by its own rule
        return
    asked, cleared = week.supervision(placing), week.instance.trainees[placing.trainee].steps_cleared
    if not set(asked.steps) & (set(asked.steps) if cleared is None else cleared):
        says = "{at}: this eye leaves {trainee} no step that they are cleared for."
        change = "Another trainee, or none."
        yield trainee_has_a_step.broken(placing, says, change, [placing.trainee], trainee=placing.trainee)


def _people(placing: Placing) -> list[str]:
    return [placing.supervisor, *([placing.trainee] if placing.trainee else [])]
