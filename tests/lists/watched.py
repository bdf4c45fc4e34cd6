"""Stand-ins for an instance and what it holds, which note every fact that is read of them."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from planner.lists.roster.shapes import Session, Supervisor
from planner.lists.week.instance import Instance, ListCase, Trainee

READ: set[str] = set()
# Who or what somebody is, and where they are found; nobody is told apart by that.
NAMES = {"case.reference", "case.eye", "trainee.id", "supervisor.id", "session.id"}
NAMES |= {f"instance.{held}" for held in ("cases", "trainees", "supervisors", "sessions")}


def _noted(owner: str, names: frozenset[str]) -> Any:
    def read(self: Any, name: str) -> Any:
        if name in names:
            READ.add(f"{owner}.{name}")
        return object.__getattribute__(self, name)

    return read


class WatchedCase(ListCase):
    __getattribute__ = _noted("case", frozenset(each.name for each in fields(ListCase)))


class WatchedTrainee(Trainee):
    __getattribute__ = _noted("trainee", frozenset(each.name for each in fields(Trainee)))


class WatchedInstance(Instance):
    __getattribute__ = _noted("instance", frozenset(each.name for each in fields(Instance)))


class WatchedSession(Session):
    __getattribute__ = _noted("session", frozenset(Session.model_fields))


class WatchedSupervisor(Supervisor):
    __getattribute__ = _noted("supervisor", frozenset(Supervisor.model_fields))


def _as(kind: Any, record: Any) -> Any:
    if isinstance(record, Session | Supervisor):
        return kind.model_construct(**{name: getattr(record, name) for name in type(record).model_fields})
    return kind(**{each.name: getattr(record, each.name) for each in fields(record)})


def watched(instance: Instance) -> Instance:
    """The same instance, of which every read is noted in `READ`."""
    held = replace(
        instance,
        cases={key: _as(WatchedCase, case) for key, case in instance.cases.items()},
        trainees={name: _as(WatchedTrainee, one) for name, one in instance.trainees.items()},
        supervisors={name: _as(WatchedSupervisor, one) for name, one in instance.supervisors.items()},
        sessions={name: _as(WatchedSession, one) for name, one in instance.sessions.items()},
    )
    found: Instance = _as(WatchedInstance, held)
    READ.clear()
    return found
