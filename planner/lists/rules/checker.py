"""The checker: judges any lists, made by hand or by machine, against every hard rule. It solves nothing.

Each rule is one function, in words a theatre manager can follow: `rules_of_cases`, `rules_of_eyes`,
`rules_of_people`, `rules_of_sessions`. What is not recorded and would change a list is asked, never taken as absent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from planner.lists.rules import of_cases, of_eyes, of_people, of_sessions
from planner.lists.week.instance import Instance, Lists, Placing
from planner.lists.week.waiting import days
from planner.lists.week.week import Broken, Week
from planner.wording.words import day_words

Rule = Callable[[Week], Iterable[Broken]]
RULES: dict[str, Rule] = {
    "on-one-list-once": of_cases.on_one_list_once,
    "consent": of_cases.consent,
    "agreement": of_cases.agreement,
    "settled": of_cases.settled,
    of_people.APPROVAL: of_people.approval_covers,
    "supervisor-fits": of_people.supervisor_fits,
    "supervisor-is-free": of_people.supervisor_is_free,
    "trainee-is-free": of_people.trainee_is_free,
    "trainee-has-a-step": of_people.trainee_has_a_step,
    "anaesthetist": of_sessions.anaesthetist,
    "kit-sets": of_sessions.kit_sets,
    "begun-first": of_cases.begun_first,
    "fixed-order": of_cases.fixed_order,
    "patient-in-one-theatre": of_eyes.patient_in_one_theatre,
    "one-eye-a-day": of_eyes.one_eye_a_day,
    "between-eyes": of_eyes.between_eyes,
    "first-eye-reviewed": of_eyes.first_eye_reviewed,
    "deadline": of_cases.deadline,
    "patient-can-come": of_cases.patient_can_come,
    "most-cases": of_sessions.most_cases,
    "general-anaesthetics": of_sessions.general_anaesthetics,
    "recovery": of_sessions.recovery,
    "overrun": of_sessions.overrun,
}

# Whether these are kept hangs on the order of a list too; for every other rule any order of it is as good.
OF_ORDER = frozenset({"kit-sets", "begun-first", "fixed-order"})

PRESSING = ("urgent", "soon")
WORDS = {
    "on-one-list-once": "a case is on one list, once",
    "consent": "consent to surgery is recorded",
    "agreement": "the patient's agreement to a trainee is recorded",
    "settled": "nothing is left to settle first",
    "approval-covers": "a consultant approved it for whoever operates",
    "supervisor-fits": "the supervisor is there and is the one that tier and stage demand",
    "supervisor-is-free": "the supervisor is not needed elsewhere at that time",
    "trainee-is-free": "the trainee is not away, nor elsewhere at that time",
    "trainee-has-a-step": "the trainee has a step to take",
    "anaesthetist": "an anaesthetist is there where one is needed",
    "kit-sets": "a set of the kit it must have is ready",
    "begun-first": "nothing is put before a case that is done or in hand",
    "fixed-order": "cases with a fixed place keep it in the theatre's whole day",
    "patient-in-one-theatre": "the patient is on no other list at that time",
    "one-eye-a-day": "one eye of a patient a day, unless both were agreed",
    "between-eyes": "days enough lie between a patient's two eyes",
    "first-eye-reviewed": "the first eye was examined before the second follows",
    "deadline": "no later than it is needed, unless it is past its date already",
    "patient-can-come": "the patient can come on that day",
    "most-cases": "no more cases than the session takes",
    "general-anaesthetics": "no more general anaesthetics than the session takes",
    "recovery": "no more patients for recovery than it has places",
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
class Breach:
    """A case past its date: by how many days on the day of its session (None: no place), or else of planning."""

    case: str
    session: str | None
    days: int
    says: str


@dataclass(frozen=True)
class Verdict:
    """What is broken, what must be asked, each session in numbers, the cases on no list, and those past their date."""

    broken: tuple[Broken, ...]
    asked: tuple[Broken, ...]
    sessions: tuple[Judged, ...]
    unplaced: tuple[str, ...]
    breaches: tuple[Breach, ...] = ()

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
        breaches=tuple(_breaches(week)),
    )


def broken_rules(week: Week, rules: Iterable[str] = tuple(RULES)) -> Iterator[Broken]:
    """What is broken of these rules, in their order."""
    for name in rules:
        yield from RULES[name](week)


def _breaches(week: Week) -> Iterator[Breach]:
    """Every case past its date, whose turn it is first: those in their places, and those without one."""
    instance, placed = week.instance, {placing.case: placing for placing in week.lists.placings}
    late = {key for key, p in placed.items() if (last := instance.cases[key].last_day) and week.session(p).day > last}
    for key in sorted(late | instance.past_their_date, key=instance.turn):
        case, at = instance.cases[key], placed.get(key)
        day = instance.planned_on if at is None else week.session(at).day
        if case.last_day is None or day <= case.last_day:
            continue
        count = (day - case.last_day).days
        where = f"{case.told}, in no list" if at is None else week.told(at)
        accepted = f" Accepted: {case.late_because}." if case.late_because else ""
        says = f"{where}: {days(count)} past its date on {day_words(day)} ({case.why_then}).{accepted}"
        yield Breach(case.told, at.session if at else None, count, says)


def _asked(week: Week) -> Iterator[Broken]:
    """What is not recorded, or is not as it should be, and could make a list wrong."""
    for session in week.sessions:
        for placing in week.list_of(session.id):
            yield from asked_of(week, placing)
    yield from of_eyes.reviews_to_come(week)
    yield from of_cases.nights_before(week)


def asked_of(week: Week, placing: Placing) -> Iterator[Broken]:
    """The same of one case in its place."""
    case, session = week.case(placing), placing.session
    for rule in week.instance.order:
        if case.order[rule.id] is None:
            says = f"{week.told(placing)}: not recorded: {rule.asked}."
            change = f"Ask; if so, it goes {'first' if rule.first else 'last'}."
            yield Broken("fixed-order", session, case.told, says, change)
    if case.approval is not None and case.approval.on_operator and not week.uncovered(placing):
        says = f"{week.told(placing)}: approved on a condition on who operates: {case.approval.on_operator}."
        yield Broken(of_people.APPROVAL, session, case.told, says, "See that these people meet it.")
    if case.patient is None and len(week.lists.placings) > 1:
        says = f"{week.told(placing)}: no patient's pseudonym, so another eye of the same patient is not seen."
        yield Broken("one-eye-a-day", session, case.told, says, "Record `patient:` in the case.")
    for rule_id, problem, change in (*_of_waiting(week, placing), *_of_dates(week, placing)):
        yield Broken(rule_id, session, case.told, f"{week.told(placing)}: {problem}.", change)


def _of_waiting(week: Week, placing: Placing) -> Iterator[tuple[str, str, str]]:
    case, day = week.case(placing), week.session(placing).day
    if case.urgency is None and case.last_day is None:
        yield "deadline", "urgency is not recorded", "Record it; until then no day is too late."
    if case.urgency in PRESSING and case.last_day is None:
        asked = f"{case.urgency}, with no date by which it is needed"
        yield "deadline", asked, "Record needed_by, or set the unit's within_days; until then no day is too late."
    if case.since is None:
        asked = "neither a date of listing nor the day recorded, so nobody knows how long it has waited"
        yield "deadline", asked, "Record listed_on."
    today = min(day, week.instance.on or day)
    for words, found in (("listed", case.since if case.listed else None), ("recorded", case.recorded_on)):
        if found is not None and found > today:
            asked = f"{words} on {day_words(found)}, which is later than {day_words(today)}"
            yield "deadline", asked, "Look at the date: a slip of the pen hides how long it has waited and what is old."


def _of_dates(week: Week, placing: Placing) -> Iterator[tuple[str, str, str]]:
    day = week.session(placing).day
    for label, measured, holds in week.case(placing).dated:
        if measured is None:
            yield "settled", f"{label} is not recorded, and holds for {days(holds)}", "Ask when it was, and record it."
        elif measured > day:
            yield (
                "settled",
                f"{label} {day_words(measured)} is later than the session",
                "Look at the date, and record it anew.",
            )
        elif (day - measured).days > holds:
            age = days((day - measured).days)
            asked = f"{label} {day_words(measured)} is {age} old on {day_words(day)}, and holds for {days(holds)}"
            yield "settled", asked, "Measure again before that day, or move the case forward."
