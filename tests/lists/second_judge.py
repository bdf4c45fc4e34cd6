"""A second judge of lists, written from README.md by somebody who had not read the first one's code.

It shares with the program what reads files and what plans an eye; every rule is told anew, as the README words it, and
in the plainest way: no speed, no sentences. Times are drawn at random where the program works them out.
"""

from __future__ import annotations

import datetime
import random
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from math import exp, log, sqrt
from statistics import NormalDist

from planner.assess.assess import assess
from planner.case import Case, Stage
from planner.lists.roster import Roster, Session
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

# How close a supervisor is, the furthest first; the last two are a consultant's own hands.
MODES = ("on-site", "in-theatre", "scrubbed", "consultant-operates", "consultant-only")
# A session, and the case in it; None where the rule is of the whole session.
Place = tuple[str, str | None]
DAYS = 20_000
# A chance of overrun so near to the limit that the days drawn do not tell them apart: over three standard errors.
TOO_NEAR = 0.005


@dataclass(frozen=True, eq=False)
class Line:
    """A line of a list: who is operated on in which place, counted from 1, by whom and under whom."""

    session: str
    place: int
    case: Case
    trainee: str | None
    supervisor: str

    @property
    def told(self) -> Place:
        return self.session, f"{self.case.reference}, {self.case.eye} eye"


@dataclass(frozen=True)
class Told:
    """A rule that is broken, or that cannot be told and must be asked, and the places of which any one shows it."""

    rule: str
    places: frozenset[Place]
    asked: bool = False


@dataclass
class Judge:
    """All that lists are judged by. `agreed` are patients who may have both eyes on one list."""

    rulebook: Rulebook
    unit: Unit
    roster: Roster
    lines: Sequence[Line]
    agreed: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        self.sessions = {session.id: session for session in self.roster.sessions}
        self.supervisors = {person.id: person for person in self.roster.supervisors}
        self.learners = {person.id: person for person in self.roster.trainees}
        self.patients = {patient.id: patient for patient in self.roster.patients}
        self.times = {line: self._minutes(line) for line in self.lines}

    # What is looked up of one line.

    def session(self, line: Line) -> Session:
        return self.sessions[line.session]

    def stage(self, line: Line) -> Stage | None:
        return self.unit.stage_of(line.trainee, self.rulebook) if line.trainee else None

    def plan(self, line: Line) -> Plan:
        return planned(line.case, self.rulebook, self.unit, self.stage(line))

    def demanded(self, line: Line) -> tuple[str, str]:
        """How close the supervisor must be, and of which grade."""
        if line.trainee is None:
            return "consultant-only", "consultant"
        supervision = self.plan(line).supervision
        return supervision.mode, supervision.by

    def served(self, line: Line) -> str:
        """How close this supervisor is: as demanded, or closer where they supervise in no wider way."""
        mode = self.demanded(line)[0]
        close_enough = [m for m in MODES[MODES.index(mode) :] if m in self.supervisors[line.supervisor].can]
        return mode if mode in MODES[3:] or not close_enough else close_enough[0]

    def _minutes(self, line: Line) -> tuple[float, float, float]:
        """Mean and spread of the operation, and what devices add that the plan sets or has to hand."""
        operator, limits = self.stage(line) or "consultant", self.roster.limits
        own, grade = limits.operating_minutes.get(operator), self.rulebook.durations.grade_of(operator)
        drawn = {device.device for chosen in self.plan(line).choices.values() for device in chosen.drawn}
        added = sum(row.minutes for row in self.rulebook.durations.additions if row.device in drawn)
        return (own or grade).mean, (own or grade).sd, added

    @property
    def turnover(self) -> float:
        own = self.roster.limits.turnover_minutes
        return self.rulebook.durations.turnover.minutes if own is None else own

    def of(self, session: str) -> list[Line]:
        """A session's list, in order."""
        return sorted((line for line in self.lines if line.session == session), key=lambda line: line.place)

    def at_one_time(self) -> Iterator[tuple[Line, Line]]:
        """Pairs of lines in two sessions that run at the same time for a while."""
        for one, other in combinations(self.lines, 2):
            if one.session != other.session and meet(self.session(one), self.session(other)):
                yield one, other


def judged(judge: Judge) -> set[Told]:
    """Every rule that is broken or must be asked, and where."""
    return {told for rule in RULES for told in rule(judge)}


def broken(rule: str, *lines: Line) -> Told:
    return Told(rule, frozenset(line.told for line in lines))


def asked(rule: str, line: Line) -> Told:
    return Told(rule, frozenset({line.told}), True)


def meet(one: Session, other: Session) -> bool:
    begins = [datetime.datetime.combine(each.day, each.starts) for each in (one, other)]
    ends = [begin + datetime.timedelta(minutes=each.minutes) for begin, each in zip(begins, (one, other), strict=True)]
    return max(begins) < min(ends)


_PLANS: dict[tuple[int, Stage | None], tuple[Case, Plan]] = {}


def planned(case: Case, rulebook: Rulebook, unit: Unit, stage: Stage | None) -> Plan:
    """The plan of a case for a stage; kept, with its case, so that no other case can take the place of one let go."""
    key = id(case), stage
    if key not in _PLANS:
        _PLANS[key] = case, make_plan(assess(case, rulebook, unit), rulebook, unit, stage)
    return _PLANS[key][1]


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
        for name, holds in judge.rulebook.vocabulary.validity(line.case.in_force).items():
            measured, day = line.case.in_force.get(name), judge.session(line).day
            if not isinstance(measured, datetime.date) or not 0 <= (day - measured).days <= holds:
                yield asked("settled", line)


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
                yield broken("supervisor-is-free", *(line for other in covered for line in rooms[other]))


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
    needs = {"general", "anaesthetist-plans"}
    for line in judge.lines:
        if judge.session(line).anaesthetist:
            continue
        chosen = judge.plan(line).choices["anaesthesia"]
        possible = {other.option for other in chosen.rejected if other.possible}
        if needs & (possible | {chosen.option}):
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
    """Latex allergy before all others, infection precautions after all others; what is not recorded is asked."""
    for session in judge.sessions:
        of_session = judge.of(session)
        for finding, ordered in (("latex_allergy", of_session), ("infection_precautions", of_session[::-1])):
            held = [line.case.in_force.get(finding) for line in ordered]
            late = [ordered[n] for n, holds in enumerate(held) if holds is True and not all(held[:n])]
            if late:
                yield broken("fixed-order", *late)
            yield from (asked("fixed-order", line) for line, holds in zip(ordered, held, strict=True) if holds is None)


def one_eye_a_list(judge: Judge) -> Iterator[Told]:
    for one, other in combinations(judge.lines, 2):
        same = one.case.patient is not None and one.case.patient == other.case.patient
        both = one.case.eye != other.case.eye and one.session == other.session
        if same and both and one.case.patient not in judge.agreed:
            yield broken("one-eye-a-list", one, other)


def deadline(judge: Judge) -> Iterator[Told]:
    """The earlier of the day it is needed by and the unit's days for its urgency, counted from listing, or recording.

    None is too late for one whose last day comes before the first session, or of which that was accepted.
    """
    accepted = {(one.case, one.eye) for one in judge.roster.late_accepted}
    first = min(session.day for session in judge.roster.sessions)
    for line in judge.lines:
        case, day = line.case, judge.session(line).day
        needed_by, urgency = case.in_force.get("needed_by"), case.in_force.get("urgency")
        days = {str(name): days for name, days in judge.roster.limits.within_days.items()}.get(str(urgency))
        last, since = [needed_by] if isinstance(needed_by, datetime.date) else [], case.listed_on or case.recorded_on
        if days is not None and since is not None:
            last.append(since + datetime.timedelta(days))
        if last and day > min(last) >= first and (case.reference, case.eye) not in accepted:
            yield broken("deadline", line)
        dates = [date for date in (case.listed_on, case.recorded_on) if date is not None]
        if (urgency in (None, "urgent", "soon") and not last) or not dates or max(dates) > day:
            yield asked("deadline", line)


def most_cases(judge: Judge) -> Iterator[Told]:
    for session in judge.roster.sessions:
        if session.most_cases is not None and len(judge.of(session.id)) > session.most_cases:
            yield from (broken("most-cases", line) for line in judge.of(session.id))


def patient_can_come(judge: Judge) -> Iterator[Told]:
    for line in judge.lines:
        patient, day = judge.patients.get(line.case.patient or ""), judge.session(line).day
        if patient and (day in patient.away or (patient.not_before is not None and day < patient.not_before)):
            yield broken("patient-can-come", line)


def overrun(judge: Judge) -> Iterator[Told]:
    for session in judge.roster.sessions:
        if judge.of(session.id) and chance_of_overrun(judge, session.id) > limit(judge):
            yield Told("overrun", frozenset({(session.id, None)}))


def limit(judge: Judge) -> float:
    return judge.roster.limits.overrun_chance or judge.rulebook.durations.overrun.chance_at_most


def too_near_to_tell(judge: Judge) -> set[str]:
    """The sessions whose chance of overrun draws cannot tell from the limit."""
    return {s.id for s in judge.roster.sessions if abs(chance_of_overrun(judge, s.id) - limit(judge)) < TOO_NEAR}


def chance_of_overrun(judge: Judge, session: str) -> float:
    """Of so many days drawn, how many take longer than the session is: a turnover follows every operation."""
    listed = judge.of(session)
    fixed = sum(judge.times[line][2] + judge.turnover for line in listed)
    days = drawn_days(tuple(sorted(judge.times[line][:2] for line in listed)))
    return 1 - bisect_right(days, judge.sessions[session].minutes - fixed) / DAYS


@cache
def drawn_days(times: tuple[tuple[float, float], ...]) -> list[float]:
    """The operating minutes of so many days in ascending order, each operation lognormal with its mean and spread."""
    chance = random.Random(repr(times))
    columns = [list(lognormal(mean, sd)) for mean, sd in times]
    for column in columns:
        chance.shuffle(column)
    return sorted(map(sum, zip(*columns, strict=True)))


@cache
def lognormal(mean: float, sd: float) -> tuple[float, ...]:
    """One operation on each of so many days, its quantiles evenly spaced, so that little is left to chance."""
    mu, sigma = log(mean**2 / sqrt(mean**2 + sd**2)), sqrt(log(1 + sd**2 / mean**2))
    return tuple(exp(NormalDist(mu, sigma).inv_cdf((n + 0.5) / DAYS)) for n in range(DAYS))


RULES = (
    *(on_one_list_once, consent, agreement, settled, supervisor_fits, supervisor_is_free, trainee_is_free),
    *(trainee_has_a_step, anaesthetist, kit_sets, fixed_order, one_eye_a_list, deadline, patient_can_come, overrun),
)


def unlike(mine: Iterable[Told], theirs: Iterable[Told]) -> tuple[set[Told], set[Told]]:
    """What only the first tell, and what only the others do; the same where they have a place in common."""

    def alone(some: set[Told], others: set[Told]) -> set[Told]:
        return {
            one
            for one in some
            if not any((o.rule, o.asked) == (one.rule, one.asked) and o.places & one.places for o in others)
        }

    told, others = set(mine), set(theirs)
    return alone(told, others), alone(others, told)
