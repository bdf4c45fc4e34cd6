"""The checker: judges any lists, made by hand or by machine, against every hard rule. It solves nothing.

Each rule is one function, in words a theatre manager can follow: `rules_of_cases`, `rules_of_people`,
`rules_of_sessions`. What is not recorded and would change a list is asked, never taken as absent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from planner.lists import rules_of_cases, rules_of_people, rules_of_sessions
from planner.lists.instance import Instance, Lists
from planner.lists.week import Broken, Week

Rule = Callable[[Week], Iterable[Broken]]
RULES: dict[str, Rule] = {
    "on-one-list-once": rules_of_cases.on_one_list_once,
    "consent": rules_of_cases.consent,
    "agreement": rules_of_cases.agreement,
    "settled": rules_of_cases.settled,
    "supervisor-fits": rules_of_people.supervisor_fits,
    "supervisor-is-free": rules_of_people.supervisor_is_free,
    "trainee-is-free": rules_of_people.trainee_is_free,
    "trainee-has-a-step": rules_of_people.trainee_has_a_step,
    "anaesthetist": rules_of_sessions.anaesthetist,
    "kit-sets": rules_of_sessions.kit_sets,
    "begun-first": rules_of_cases.begun_first,
    "fixed-order": rules_of_cases.fixed_order,
    "one-eye-a-list": rules_of_cases.one_eye_a_list,
    "deadline": rules_of_cases.deadline,
    "patient-can-come": rules_of_cases.patient_can_come,
    "overrun": rules_of_sessions.overrun,
}

# Whether these are kept hangs on the order of a list too; for every other rule any order of it is as good.
OF_ORDER = frozenset({"kit-sets", "begun-first", "fixed-order"})

WORDS = {
    "on-one-list-once": "a case is on one list, once",
    "consent": "consent to surgery is recorded",
    "agreement": "the patient's agreement to a trainee is recorded",
    "settled": "nothing is left to settle first",
    "supervisor-fits": "the supervisor is there and is the one that tier and stage demand",
    "supervisor-is-free": "the supervisor is not needed elsewhere at that time",
    "trainee-is-free": "the trainee is not away, nor elsewhere at that time",
    "trainee-has-a-step": "the trainee has a step to take",
    "anaesthetist": "an anaesthetist is there where one is needed",
    "kit-sets": "a set of the kit it must have is ready",
    "begun-first": "nothing is put before a case that is done or in hand",
    "fixed-order": "cases with a fixed place keep it",
    "one-eye-a-list": "one eye of a patient a list",
    "deadline": "no later than it is needed",
    "patient-can-come": "the patient can come on that day",
    "overrun": "the session's chance of overrun keeps within the limit",
}


@dataclass(frozen=True)
class Judged:
    """One session's list in numbers."""

    session: str
    told: str
    cases: int
    expected_minutes: float
    minutes: int
    chance_of_overrun: float


@dataclass(frozen=True)
class Verdict:
    """What is broken, what must be asked, each session in numbers, and the cases on no list."""

    broken: tuple[Broken, ...]
    asked: tuple[Broken, ...]
    sessions: tuple[Judged, ...]
    unplaced: tuple[str, ...]

    @property
    def stands(self) -> bool:
        return not self.broken


def check(instance: Instance, lists: Lists) -> Verdict:
    """Judge lists whose every name is known to the instance. Pure; raises nothing."""
    week = Week(instance, lists)
    placed = {placing.case for placing in lists.placings}
    return Verdict(
        broken=tuple(broken_rules(week)),
        asked=tuple(_asked(week)),
        sessions=tuple(
            Judged(
                session.id,
                session.told,
                len(week.list_of(session.id)),
                week.expected_minutes(session.id),
                session.minutes,
                week.chance_of_overrun(session.id),
            )
            for session in week.sessions
        ),
        unplaced=tuple(case.told for key, case in instance.cases.items() if key not in placed),
    )


def broken_rules(week: Week, rules: Iterable[str] = tuple(RULES)) -> Iterator[Broken]:
    """What is broken of these rules, in their order."""
    for name in rules:
        yield from RULES[name](week)


def _asked(week: Week) -> Iterator[Broken]:
    """What is not recorded and could make a list wrong."""
    for session in week.sessions:
        placings = week.list_of(session.id)
        for placing in placings:
            case = week.case(placing)
            for rule in week.instance.order:
                if case.order[rule.id] is None:
                    says = f"{week.told(placing)}: not recorded: {rule.asked}."
                    change = f"Ask; if so, it goes {'first' if rule.first else 'last'}."
                    yield Broken("fixed-order", session.id, case.told, says, change)
            if case.patient is None and len(placings) > 1:
                says = f"{week.told(placing)}: no patient's pseudonym, so another eye of the same patient is not seen."
                yield Broken("one-eye-a-list", session.id, case.told, says, "Record `patient:` in the case.")
            if case.urgency is None and case.last_day is None:
                says = f"{week.told(placing)}: urgency is not recorded."
                yield Broken("deadline", session.id, case.told, says, "Record it; until then no day is too late.")
