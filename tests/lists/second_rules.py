"""The rules by which the second judge tells lists, one function a rule, each as README.md words it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from itertools import combinations

from lists.second_judge import MODES, Judge, Line, Told, asked, broken, chance_of_overrun, limit, meet

from planner.case import Case
from planner.lists.roster.shapes import Session


def on_one_list_once(judge: Judge) -> Iterator[Told]:
    for one, other in combinations(judge.lines, 2):
        if (one.case.reference, one.case.eye) == (other.case.reference, other.case.eye):
            yield broken("on-one-list-once", one, other)


def consent(judge: Judge) -> Iterator[Told]:
    for line in judge.lines:
        if line.case.in_force.get("consent_to_surgery") is not True:
            yield broken("consent", line)


def agreement(judge: Judge) -> Iterator[Told]:
    """Only a trainee needs it: it stands in nobody's way where a consultant operates alone."""
    for line in judge.lines:
        if line.trainee and line.case.in_force.get("trainee_involvement_agreed") is not True:
            yield broken("agreement", line)


def settled(judge: Judge) -> Iterator[Told]:
    """What consent and agreement settle is told under their own rules."""
    for line in judge.lines:
        reasons = {reason.id for reason in judge.plan(line).assessment.readiness.because}
        if reasons - {"no-consent", "trainee-agreement-not-recorded"}:
            yield broken("settled", line)


def supervisor_fits(judge: Judge) -> Iterator[Told]:
    for line in judge.lines:
        person, (mode, grade) = judge.supervisors[line.supervisor], judge.demanded(line)
        there = person.id in judge.session(line).supervisors and judge.session(line).day not in person.leave
        fits = person.grade == "consultant" or grade != "consultant"
        close = mode in MODES[3:] or any(m in person.can for m in MODES[MODES.index(mode) :])
        if not (there and fits and close):
            yield broken("supervisor-fits", line)


def supervisor_is_free(judge: Judge) -> Iterator[Told]:
    """Scrubbed, in the theatre or operating: tied to that room for its whole session. On site: so many rooms."""
    for person in judge.supervisors.values():
        rooms: dict[str, list[Line]] = {}
        for line in judge.lines:
            if line.supervisor == person.id:
                rooms.setdefault(line.session, []).append(line)
        for one, other in combinations(rooms, 2):
            both = rooms[one] + rooms[other]
            tied = {judge.served(line) for line in both} != {"on-site"}
            if tied and meet(judge.sessions[one], judge.sessions[other]):
                yield broken("supervisor-is-free", *both)
        for session in map(judge.sessions.__getitem__, rooms):
            begins = datetime.datetime.combine(session.day, session.starts)
            covered = [other for other in rooms if runs_at(judge.sessions[other], begins)]
            if len(covered) > person.on_site_rooms:
                told = broken("supervisor-is-free", *(line for other in covered for line in rooms[other]))
                yield Told(told.rule, told.places | {(other, None) for other in covered})


def runs_at(session: Session, moment: datetime.datetime) -> bool:
    begins = datetime.datetime.combine(session.day, session.starts)
    return begins <= moment < begins + datetime.timedelta(minutes=session.minutes)


def trainee_is_free(judge: Judge) -> Iterator[Told]:
    for line in judge.lines:
        if line.trainee and judge.session(line).day in judge.learners[line.trainee].leave:
            yield broken("trainee-is-free", line)
    for one, other in judge.at_one_time():
        if one.trainee and one.trainee == other.trainee:
            yield broken("trainee-is-free", one, other)


def trainee_has_a_step(judge: Judge) -> Iterator[Told]:
    """A whole operation, or a named step; one not cleared for whole operations only the steps they are cleared for.

    A patient who refused a trainee leaves them none; that is told as agreement alone.
    """
    for line in judge.lines:
        if line.trainee is None or line.case.in_force.get("trainee_involvement_agreed") is False:
            continue
        steps = {step.id for step in judge.plan(line).steps if step.who == "trainee"}
        if judge.stage(line) == "steps-only":
            steps &= set(judge.learners[line.trainee].steps_cleared)
        if not steps:
            yield broken("trainee-has-a-step", line)


def anaesthetist(judge: Judge) -> Iterator[Told]:
    """Where one is needed, or may be, because of what is not recorded."""
    for line in judge.lines:
        if not judge.session(line).anaesthetist and may_need(judge, line, {"general", "anaesthetist-plans"}):
            yield broken("anaesthetist", line)


def kit_sets(judge: Judge) -> Iterator[Told]:
    """A set lies in use until its operation has ended, and is ready again so many minutes later, or not that day."""
    for session in judge.roster.sessions:
        for item, counted in session.kit.items():
            ready, clock = [0.0] * counted.sets, 0.0
            for line in judge.of(session.id):
                mean, _, added = judge.times[line]
                if any(kit.id == item and kit.need == "essential" for kit in judge.plan(line).kit):
                    free = next((n for n, at in enumerate(ready) if at <= clock), None)
                    if free is None:
                        yield broken("kit-sets", line)
                    else:
                        again = counted.ready_again_after
                        ready[free] = float("inf") if again is None else clock + mean + added + again
                clock += mean + added + judge.turnover


def fixed_order(judge: Judge) -> Iterator[Told]:
    """Over a theatre's whole day, its lists one after the other by the hour.

    Latex allergy first, then those in whom it is not recorded, who are asked too. After infection precautions comes
    nobody without, nor in whom they are not recorded, which is asked besides. After a night in which the theatre was
    in use late, a first case that has or may have a latex allergy is asked about.
    """
    days: dict[tuple[str, datetime.date], list[Session]] = {}
    for session in judge.sessions.values():
        days.setdefault((room(session), session.day), []).append(session)
    for (theatre, day), held in days.items():
        listed = [line for session in sorted(held, key=lambda one: one.starts) for line in judge.of(session.id)]
        # Earlier values come first; nobody of whom infection is not known comes after somebody who has it.
        for finding, ranks in (("latex_allergy", (True, None, False)), ("infection_precautions", (False, True))):
            found = [(line, line.case.in_force.get(finding)) for line in listed]
            for (one, before), (other, after) in combinations(found, 2):
                if rank(ranks, after) < rank(ranks, before):
                    yield broken("fixed-order", one, other)
            yield from (asked("fixed-order", line) for line, holds in found if holds is None)
        late = [ends(one) for one in days.get((theatre, day - datetime.timedelta(1)), [])]
        night = datetime.datetime.combine(
            day - datetime.timedelta(1), datetime.time.fromisoformat(judge.rulebook.lists.night.starts)
        )
        if listed and any(end > night for end in late) and listed[0].case.in_force.get("latex_allergy") is not False:
            yield asked("fixed-order", listed[0])


def rank(ranks: tuple[object, ...], holds: object) -> int:
    """The place of a value among others; one that has none stands with the first."""
    return ranks.index(holds) if holds in ranks else 0


def room(session: Session) -> str:
    return " ".join(session.theatre.casefold().split())


def ends(session: Session) -> datetime.datetime:
    return datetime.datetime.combine(session.day, session.starts) + datetime.timedelta(minutes=session.minutes)


def begun_first(judge: Judge) -> Iterator[Told]:
    """No other case before the last that is done or in hand."""
    for session in judge.sessions:
        listed = judge.of(session)
        last = max(
            (n for n, line in enumerate(listed) if (line.case.reference, line.case.eye) in judge.begun), default=0
        )
        late = [line for line in listed[:last] if (line.case.reference, line.case.eye) not in judge.begun]
        if late:
            yield broken("begun-first", *late, listed[last])


def of_one_patient(judge: Judge) -> Iterator[tuple[Line, Line]]:
    """Pairs of lines with two cases of one pseudonym."""
    for one, other in combinations(judge.lines, 2):
        two = (one.case.reference, one.case.eye) != (other.case.reference, other.case.eye)
        if two and one.case.patient is not None and one.case.patient == other.case.patient:
            yield one, other


def patient_in_one_theatre(judge: Judge) -> Iterator[Told]:
    """Not on two lists that run at one time, whatever was agreed."""
    for one, other in of_one_patient(judge):
        if one.session != other.session and meet(judge.session(one), judge.session(other)):
            yield broken("patient-in-one-theatre", one, other)


def one_eye_a_day(judge: Judge) -> Iterator[Told]:
    """Both eyes on one day only where agreed; a case without a pseudonym is asked about where lists hold another."""
    for one, other in of_one_patient(judge):
        if judge.session(one).day == judge.session(other).day and one.case.patient not in judge.agreed:
            yield broken("one-eye-a-day", one, other)
    for line in judge.lines:
        eye = judge.other_eye(line)
        if eye and eye.day == judge.session(line).day and line.case.patient not in judge.agreed:
            yield broken("one-eye-a-day", line)
        if line.case.patient is None and len(judge.lines) > 1:
            yield asked("one-eye-a-day", line)


def between_eyes(judge: Judge) -> Iterator[Told]:
    own = judge.roster.limits.days_between_eyes
    least = judge.rulebook.lists.eyes.days_between if own is None else own
    for one, other in of_one_patient(judge):
        apart = abs((judge.session(one).day - judge.session(other).day).days)
        if 0 < apart < least:
            yield broken("between-eyes", one, other)
    for line in judge.lines:
        eye = judge.other_eye(line)
        if eye and eye.day and 0 < abs((judge.session(line).day - eye.day).days) < least:
            yield broken("between-eyes", line)


def first_eye_reviewed(judge: Judge) -> Iterator[Told]:
    """A second eye whose first was operated on has its review on record.

    Where the first only has a place on an earlier day, or the second had its place already, it is asked for.
    """
    for line in judge.lines:
        day, reviewed = judge.session(line).day, line.case.in_force.get("first_eye_reviewed_on")
        firsts: list[tuple[datetime.date | None, bool]] = [
            (judge.session(other).day, False)
            for pair in of_one_patient(judge)
            for line_, other in (pair, pair[::-1])
            if line_ is line and judge.session(other).day < day
        ]
        eye = judge.other_eye(line)
        if eye and (eye.day is None or eye.day < day):
            firsts.append((eye.day, eye.due))
        for first, due in firsts:
            if not isinstance(reviewed, datetime.date) or reviewed > day or (first is not None and reviewed <= first):
                yield broken("first-eye-reviewed", line) if due else asked("first-eye-reviewed", line)


def deadline(judge: Judge) -> Iterator[Told]:
    """No later than its last day, unless that was over before any session, or the organiser accepts it as late."""
    first = min(session.day for session in judge.sessions.values())
    accepted = {(one.case, one.eye) for one in judge.roster.late_accepted}
    for line in judge.lines:
        last = last_day(judge, line.case)
        late = last is not None and first <= last < judge.session(line).day
        if late and (line.case.reference, line.case.eye) not in accepted:
            yield broken("deadline", line)


def last_day(judge: Judge, case: Case) -> datetime.date | None:
    """The day it is needed by, or as many days after its listing as its urgency has, whichever comes first.

    The day it was recorded stands for a day of listing that was not.
    """
    needed_by, urgency, since = case.in_force.get("needed_by"), case.in_force.get("urgency"), waits_from(case)
    days = {str(name): days for name, days in judge.roster.limits.within_days.items()}.get(str(urgency))
    last = [needed_by] if isinstance(needed_by, datetime.date) else []
    if days is not None and since is not None:
        last.append(since + datetime.timedelta(days))
    return min(last, default=None)


def waits_from(case: Case) -> datetime.date | None:
    return case.listed_on or case.recorded_on


def asked_of_waiting(judge: Judge) -> Iterator[Told]:
    """What is not recorded of urgency and waiting, and days that have not come yet."""
    for line in judge.lines:
        case, day = line.case, judge.session(line).day
        urgency, days = case.in_force.get("urgency"), (case.listed_on, case.recorded_on)
        if (
            (urgency is None and case.in_force.get("needed_by") is None)
            or (urgency in ("urgent", "soon") and last_day(judge, case) is None)
            or waits_from(case) is None
            or any(one is not None and one > day for one in days)
        ):
            yield asked("deadline", line)


def asked_of_measurements(judge: Judge) -> Iterator[Told]:
    """A dated measurement that is too old on the session's day, later than it, or without its date."""
    for line in judge.lines:
        for finding, holds in judge.rulebook.vocabulary.validity(set(line.case.in_force)).items():
            measured, day = line.case.in_force.get(finding), judge.session(line).day
            if not isinstance(measured, datetime.date) or not 0 <= (day - measured).days <= holds:
                yield asked("settled", line)


def limits_of_a_session(judge: Judge) -> Iterator[Told]:
    """So many cases, general anaesthetics and patients for recovery; what may be one counts."""
    for session in judge.sessions.values():
        listed = judge.of(session.id)
        general = [line for line in listed if may_need(judge, line, {"general"})]
        recovery = [line for line in listed if may_need(judge, line, {"general", "anaesthetist-plans"})]
        for rule, most, held in (
            ("most-cases", session.most_cases, listed),
            ("general-anaesthetics", session.most_general_anaesthetics, general),
            ("recovery", session.recovery_places, recovery),
        ):
            if most is not None and len(held) > most:
                yield Told(rule, frozenset({(session.id, None), *(line.told for line in held)}))


def may_need(judge: Judge, line: Line, options: set[str]) -> bool:
    chosen = judge.plan(line).choices["anaesthesia"]
    return chosen.option in options or any(other.option in options for other in chosen.rejected if other.possible)


def patient_can_come(judge: Judge) -> Iterator[Told]:
    for line in judge.lines:
        patient, day = judge.patients.get(line.case.patient or ""), judge.session(line).day
        if patient and (day in patient.away or (patient.not_before is not None and day < patient.not_before)):
            yield broken("patient-can-come", line)


def overrun(judge: Judge) -> Iterator[Told]:
    for session in judge.roster.sessions:
        if judge.of(session.id) and chance_of_overrun(judge, session.id) > limit(judge):
            yield Told("overrun", frozenset({(session.id, None)}))


OF_EYES_AND_ORDER = (begun_first, fixed_order, patient_in_one_theatre, one_eye_a_day, between_eyes, first_eye_reviewed)
RULES = (
    *(on_one_list_once, consent, agreement, settled, supervisor_fits, supervisor_is_free, trainee_is_free),
    *(trainee_has_a_step, anaesthetist, kit_sets, *OF_EYES_AND_ORDER, deadline, asked_of_waiting),
    *(asked_of_measurements, limits_of_a_session, patient_can_come, overrun),
)


def judged(judge: Judge) -> set[Told]:
    """Every rule that is broken or must be asked, and where."""
    return {told for rule in RULES for told in rule(judge)}
