"""What one change would place a case that has no place: each change tried, and the lists with it judged by the checker.

A change is one thing that a person can do: move one other case, another order, one more set, an anaesthetist, one more
supervisor, some minutes, an answer that is not recorded, or, last of all, a place later than it is needed, which the
organiser must accept. Nobody's leave or limit is ever changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from planner.lists.changes.moves import taken_off
from planner.lists.matching.insertion import Assignment, Trial, attempt
from planner.lists.matching.objective import ranked
from planner.lists.matching.sequencing import ordered
from planner.lists.roster.shapes import LONGEST_SESSION, KitSets, Session
from planner.lists.rules.eyes import first_eye_reviewed, one_eye_a_day
from planner.lists.rules.patient import agreement, consent, deadline, settled
from planner.lists.rules.people import approval_covers, supervisor_fits
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken, ListRule
from planner.lists.rules.sessions import anaesthetist, fixed_order, kit_sets, overrun
from planner.lists.week.instance import Instance, Key, ListCase, Lists, Placing
from planner.lists.week.urgency import days
from planner.lists.week.week import Week

MORE_MINUTES = range(5, 65, 5)
WORK = 400  # places tried for other cases
WORK_OF_TWO = 60
_Changed = tuple[str, Session]  # what is done to a session, and the session after it


@dataclass(frozen=True)
class Opening:
    """One change, in words, and the place that the case then has."""

    says: str
    placing: Placing


@dataclass(frozen=True)
class Opened:
    """The same with what the change makes of instance and lists, the case in its place, to be judged again."""

    opening: Opening
    instance: Instance
    lists: Lists


def opened(
    instance: Instance,
    lists: Lists,
    key: Key,
    barred: Iterable[Trial],
    fixed: frozenset[Key] = frozenset(),
    work: int = WORK,
) -> tuple[Opened, ...]:
    """One opening of each sort at most, what costs nobody anything first. `barred` are the places tried in vain.

    Where no one change is enough, one thing more for a session and one other case moved are tried together. A place
    later than it is needed comes last. Cases in
    `fixed` are not moved. What these lists break already is let be.
    """
    search = _Openings(instance, lists, key, fixed, work)
    trials = sorted(barred, key=lambda trial: (len(trial.rules), len(trial.broken)))
    ways = (
        search.other_order(trials),
        search.moved(trials, stays=True),
        search.moved(trials, stays=False),
        *(search.with_session(trials, rule) for rule in (kit_sets, anaesthetist, supervisor_fits, overrun)),
        search.an_answer(trials),
    )
    found = tuple(one for way in ways if (one := next(way, None)) is not None)
    if not found and (both := next(search.with_a_move(trials), None)) is not None:
        found = (both,)
    late = next(search.later_than_needed(trials), None)
    return found if late is None else (*found, late)


class _Openings:
    def __init__(self, instance: Instance, lists: Lists, key: Key, fixed: frozenset[Key], work: int) -> None:
        self.instance, self.lists, self.key, self.fixed, self.work = instance, lists, key, fixed, work
        self.case = instance.cases[key]
        self._known = {_what(one) for one in RULES.broken(Week(instance, lists))}

    def other_order(self, trials: list[Trial]) -> Iterator[Opened]:
        for trial in trials:
            if not trial.rules <= RULES.of_order:
                continue
            session = trial.placing.session
            there = attempt(self.instance, self.lists, self.key, Assignment.of(trial.placing)).lists
            here = [(p.case, Assignment.of(p)) for p in there.placings if p.session == session]
            if any(key in self.fixed for key, _ in here):
                continue
            if placings := ordered(self.instance, there, session, here):
                others = tuple(p for p in there.placings if p.session != session)
                lists = replace(there, placings=(*others, *placings))
                if self._stands(self.instance, lists, session):
                    order = ", ".join(self.instance.cases[p.case].told for p in placings)
                    own = next(p for p in placings if p.case == self.key)
                    yield Opened(Opening(f"Another order in {session}: {order}.", own), self.instance, lists)

    def moved(self, trials: list[Trial], stays: bool) -> Iterator[Opened]:
        """Another case of that time on another list, or where it `stays` in its own place with other people."""
        work, tried = self.work, set[tuple[Key, Assignment]]()
        for trial in trials:
            if not trial.rules <= RULES.mended_by_others:
                continue
            option = Assignment.of(trial.placing)
            for other in self._in_the_way(trial):
                if (other.case, option) in tried:
                    continue
                tried.add((other.case, option))
                work -= 1
                without = taken_off(self.lists, other.case)
                then = attempt(self.instance, without, self.key, option)
                if work <= 0:
                    return
                if self._new(then.broken):
                    continue
                for place in self._places(other, stays, then.lists):
                    work -= 1
                    moved = attempt(self.instance, then.lists, other.case, place)
                    if not self._new(moved.broken):
                        own = next(p for p in moved.lists.placings if p.case == self.key)
                        yield Opened(Opening(self._move(other, moved.placing), own), self.instance, moved.lists)
                        return
                    if work <= 0:
                        return

    def _in_the_way(self, trial: Trial) -> list[Placing]:
        """Placed cases whose move could help: of the same theatre's day, tying the same people, or the other eye."""
        session, own = self.instance.sessions[trial.placing.session], trial.placing
        people, patient = {own.supervisor, own.trainee} - {None}, self.case.patient

        def in_the_way(p: Placing) -> bool:
            there = self.instance.sessions[p.session]
            same_room = (there.day, there.room) == (session.day, session.room)
            ties_people = bool({p.supervisor, p.trainee} & people) and there.meets(session)
            return same_room or ties_people or (patient is not None and self.instance.cases[p.case].patient == patient)

        return [p for p in self.lists.placings if p.case not in self.fixed and in_the_way(p)]

    def _places(self, other: Placing, stays: bool, lists: Lists) -> Iterator[Assignment]:
        options = [
            Assignment(session.id, trainee, supervisor)
            for session in self.instance.coming
            if (session.id == other.session) is stays
            for trainee in (*self.instance.trainees, None)
            for supervisor in session.supervisors
        ]
        for _, option, _ in ranked(self.instance, lists, other.case, options):
            if option != Assignment.of(other):
                yield option

    def _move(self, was: Placing, now: Placing) -> str:
        told, people = self.instance.cases[was.case].told, f"{now.trainee or 'no trainee'}, {now.supervisor}"
        if was.session == now.session:
            return f"{told}, in {was.session}, with other people: {people}."
        return f"{told} moves from {was.session} to {now.session} ({people})."

    def with_a_move(self, trials: list[Trial]) -> Iterator[Opened]:
        """A set, an anaesthetist or a supervisor more for a session, and another case moved besides."""
        for trial in trials:
            session = self.instance.sessions[trial.placing.session]
            for rule in (kit_sets, anaesthetist, supervisor_fits):
                if rule.id in trial.rules and trial.rules - {rule.id} <= RULES.mended_by_others:
                    for says, other in self._more(rule, session, trial.placing.supervisor):
                        instance = replace(self.instance, sessions=self.instance.sessions | {other.id: other})
                        search = _Openings(instance, self.lists, self.key, self.fixed, WORK_OF_TWO)
                        then = attempt(instance, self.lists, self.key, Assignment.of(trial.placing))
                        for found in (*search.moved([then], stays=True), *search.moved([then], stays=False)):
                            opening = replace(found.opening, says=f"{says} And besides: {found.opening.says}")
                            yield replace(found, opening=opening)

    def with_session(self, trials: list[Trial], rule: ListRule) -> Iterator[Opened]:
        """The place as soon as the session has more of what the rule asks for."""
        for trial in trials:
            if trial.rules == {rule.id}:
                for says, session in self._more(
                    rule, self.instance.sessions[trial.placing.session], trial.placing.supervisor
                ):
                    sessions = self.instance.sessions | {session.id: session}
                    yield from self._now(replace(self.instance, sessions=sessions), self.lists, trial, says)

    def _more(self, rule: ListRule, session: Session, supervisor: str) -> Iterator[_Changed]:
        """One set, an anaesthetist, that supervisor or some minutes more."""
        if rule is kit_sets:
            for item in (item for item in session.kit if item in self.case.kit):
                sets, again = session.kit[item].sets, session.kit[item].ready_again_after
                more = KitSets(sets=sets + 1, ready_again_after=again)
                says = f"{'One more set' if sets else 'A set'} in {session.told}: {self.case.kit[item]}."
                yield says, session.model_copy(update={"kit": session.kit | {item: more}})
        elif rule is anaesthetist and not session.anaesthetist:
            yield f"An anaesthetist for {session.told}.", session.model_copy(update={"anaesthetist": True})
        elif rule is supervisor_fits and supervisor not in session.supervisors:
            if session.day not in self.instance.supervisors[supervisor].leave:
                joined = session.model_copy(update={"supervisors": [*session.supervisors, supervisor]})
                yield f"{supervisor} also supervises in {session.told}.", joined
        elif rule is overrun:
            others = [s for s in self.instance.sessions.values() if s.room == session.room and s.id != session.id]
            for minutes in MORE_MINUTES:
                longer = session.model_copy(update={"minutes": session.minutes + minutes})
                if longer.minutes <= LONGEST_SESSION and not any(longer.meets(other) for other in others):
                    yield f"{minutes} minutes more for {session.told}.", longer

    def an_answer(self, trials: list[Trial]) -> Iterator[Opened]:
        """What is not recorded, if the answer is such that the case may stand; a refusal is no such thing."""
        case, reasons = self.case, self.case.unsettled
        answers = {
            consent.id: (case.consent is None, {"consent": True}, "Consent to surgery, once it is given and recorded."),
            agreement.id: (
                case.agreement is None, {"agreement": True}, "Agreement to a trainee, if given and recorded."
            ),
            settled.id: (len(reasons) == 1, {"unsettled": ()}, f"Once settled and recorded: {' '.join(reasons)}."),
        }  # fmt: skip
        for trial in trials:
            for rule, (open_, answer, says) in answers.items():
                if open_ and trial.rules == {rule}:
                    cases = self.instance.cases | {self.key: replace(case, **answer)}  # type: ignore[arg-type]
                    yield from self._now(replace(self.instance, cases=cases), self.lists, trial, says)
            if trial.rules == {approval_covers.id} and case.approval is not None and case.approval.stands:
                stage = self.instance.trainees[trial.placing.trainee or ""].stage
                wider = replace(case.approval, stages=case.approval.stages | {stage})
                cases = self.instance.cases | {self.key: replace(case, approval=wider)}
                says = f"Once a consultant approves it for {trial.placing.trainee} ({stage})."
                yield from self._now(replace(self.instance, cases=cases), self.lists, trial, says)
            for says, told in self._told(trial):
                cases = self.instance.cases | {self.key: told}
                yield from self._now(replace(self.instance, cases=cases), self.lists, trial, says)
            if trial.rules == {one_eye_a_day.id} and case.patient is not None:
                agreed = replace(self.lists, both_eyes_agreed=self.lists.both_eyes_agreed | {case.patient})
                says = f"Both eyes of {case.patient} on one day, if that is agreed."
                yield from self._now(self.instance, agreed, trial, says)

    def _told(self, trial: Trial) -> Iterator[tuple[str, ListCase]]:
        """The case once what is asked of it is recorded, so that it may stand on that day."""
        case, day = self.case, self.instance.sessions[trial.placing.session].day
        if trial.rules == {fixed_order.id}:
            for rule in self.instance.order:
                if case.order[rule.id] is None:
                    yield f"Once recorded as absent: {rule.asked}.", replace(case, order=case.order | {rule.id: False})
        if trial.rules == {first_eye_reviewed.id} and case.reviewed_on is None:
            yield "Once the first eye is examined and that is recorded.", replace(case, reviewed_on=day)

    def later_than_needed(self, trials: list[Trial]) -> Iterator[Opened]:
        """The earliest place after its last day, which stands only once the organiser accepts that."""
        case, sessions = self.case, self.instance.sessions
        late = [trial for trial in trials if trial.rules == {deadline.id}]
        for trial in sorted(late, key=lambda trial: sessions[trial.placing.session].day):
            if case.last_day is not None:
                count = days((sessions[trial.placing.session].day - case.last_day).days)
                says = f"{case.told} {count} past its date, if the organiser accepts it (`late_accepted`)."
                cases = self.instance.cases | {self.key: replace(case, late_because="the organiser accepts it")}
                yield from self._now(replace(self.instance, cases=cases), self.lists, trial, says)

    def _now(self, instance: Instance, lists: Lists, trial: Trial, says: str) -> Iterator[Opened]:
        then = attempt(instance, lists, self.key, Assignment.of(trial.placing))
        if not self._new(then.broken):
            yield Opened(Opening(says, then.placing), instance, then.lists)

    def _stands(self, instance: Instance, lists: Lists, session: str) -> bool:
        day = instance.sessions[session].day
        today = tuple(p for p in lists.placings if instance.sessions[p.session].day == day)
        return not self._new(tuple(RULES.broken(Week(instance, replace(lists, placings=today)))))

    def _new(self, broken: tuple[Broken, ...]) -> list[Broken]:
        return [one for one in broken if _what(one) not in self._known]


def _what(broken: Broken) -> tuple[str, str, str | None]:
    return broken.rule, broken.session, broken.case
