"""Facts that rules read less closely than they stand: how far these tell one case or person from another."""

from __future__ import annotations

from collections.abc import Hashable

from planner.lists.roster.shapes import Session, Supervisor
from planner.lists.rules.rule import Fact
from planner.lists.week.instance import Instance, ListCase, Trainee


def _patient(instance: Instance, case: ListCase) -> Hashable:
    """A patient with two cases, or with an eye elsewhere, is told from all others."""
    several = len(instance.of_patients.get(case.patient or "", ())) > 1
    return case.patient if several or (case.fellow is not None and case.fellow.day is not None) else None


def _is_away(person: Trainee | Supervisor, session: Session) -> bool:
    return session.day in person.leave


KIT = Fact("case.kit", "case", lambda instance, case: frozenset(case.kit))
UNSETTLED = Fact("case.unsettled", "case", lambda instance, case: bool(case.unsettled))
APPROVAL = Fact("case.approval", "case", lambda instance, case: case.covered_stages)
PATIENT = Fact("case.patient", "case", _patient)
PSEUDONYM = Fact("case.patient")  # where it is only printed
BEGUN = Fact("instance.begun", "case", lambda instance, case: case.key in instance.begun)
TRAINEES_LEAVE = Fact("trainee.leave", "trainee", _is_away)
SUPERVISORS_LEAVE = Fact("supervisor.leave", "supervisor", _is_away)
ON_SESSION = Fact("session.supervisors", "supervisor", lambda person, session: person.id in session.supervisors)

# What the minutes of an operation, and of a list, are worked out from.
OPERATING = ("trainee.stage", "case.added", "instance.times", "instance.turnover", "instance.taken", BEGUN)
# What a rule reads that asks how close a supervisor is.
SUPERVISION = ("case.with_stage", "trainee.stage", "supervisor.can")
HOURS = ("session.day", "session.starts", "session.minutes")
