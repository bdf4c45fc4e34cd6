"""What one change would place a case that has no place: each change tried, and the lists with it judged by the checker.

A change is one thing that a person can do: move one other case, another order, one more set, an anaesthetist, one more
supervisor, some minutes, an answer that is not recorded, or, last of all, a place later than it is needed, which the
organiser must accept. Nobody's leave or limit is ever changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from planner.lists.matching.insertion import Assignment, Trial, attempt, options, taken_off
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
from planner.wording.words import eye_words

MORE_MINUTES = range(5, 65, 5)
WORK = 400  # places tried for other cases
WORK_OF_TWO = 60


@dataclass(frozen=True)
class Opening:
    """One change, in words and with some cases by their keys, and the place that the case then has."""

    words: tuple[str | Key, ...]
    placing: Placing

    @property
    def says(self) -> str:
        return "".join(part if isinstance(part, str) else eye_words(*part) for part in self.words)

    def for_case(self, key: Key) -> Opening:
        """The same for another case that no rule can tell from this one."""
        words = tuple(key if part == self.placing.case else part for part in self.words)
        return Opening(words, replace(self.placing, case=key))


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
    later than it is needed comes last. Cases in `fixed` are not moved. What these lists break already is let be.
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
    openings = tuple(one for way in ways if (one := next(way, None)) is not None)
    if not openings and (both := next(search.with_a_move(trials), None)) is not None:
        openings = (both,)
    late = next(search.later_than_needed(trials), None)
    return openings if late is None else (*openings, late)


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
            here = [p for p in there.placings if p.session == session]
            if any(p.case in self.fixed for p in here):
                continue
            if placings := ordered(self.instance, there, here):
                others = tuple(p for p in there.placings if p.session != session)
                lists = replace(there, placings=(*others, *placings))
                today = self.instance.on_days(lists, self.instance.sessions[session].day)
                if not self._new(RULES.broken(Week(self.instance, today))):
                    order = [part for p in placings for part in (", ", p.case)][1:]
                    own = next(p for p in placings if p.case == self.key)
                    yield Opened(Opening((f"Another order in {session}: ", *order, "."), own), self.instance, lists)

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
                        yield Opened(Opening((self._move(other, moved.placing),), own), self.instance, moved.lists)
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
        sessions = [session for session in self.instance.coming if (session.id == other.session) is stays]
        for _, option, _ in ranked(self.instance, lists, other.case, options(self.instance, sessions)):
            if option != Assignment.of(other):
                yield option

    def _move(self, was: Placing, now: Placing) -> str:
        case, people = self.instance.cases[was.case].in_words, f"{now.trainee or 'no trainee'}, {now.supervisor}"
        if was.session == now.session:
            return f"{case}, in {was.session}, with other people: {people}."
        return f"{case} moves from {was.session} to {now.session} ({people})."

    def with_a_move(self, trials: list[Trial]) -> Iterator[Opened]:
        """A set, an anaesthetist or a supervisor more for a session, and another case moved besides."""
        for trial in trials:
            for rule in (kit_sets, anaesthetist, supervisor_fits):
                if rule.id in trial.rules and trial.rules - {rule.id} <= RULES.mended_by_others:
                    for says, instance in self._more(rule, trial.placing):
                        search = _Openings(instance, self.lists, self.key, self.fixed, WORK_OF_TWO)
                        then = attempt(instance, self.lists, self.key, Assignment.of(trial.placing))
                        for moved in (*search.moved([then], stays=True), *search.moved([then], stays=False)):
                            words = f"{says} And besides: ", *moved.opening.words
                            yield replace(moved, opening=replace(moved.opening, words=words))

    def with_session(self, trials: list[Trial], rule: ListRule) -> Iterator[Opened]:
        """The place as soon as the session has more of what the rule asks for."""
        for trial in trials:
            for says, instance in self._more(rule, trial.placing) if trial.rules == {rule.id} else ():
                yield from self._now(instance, self.lists, trial, says)

    def _more(self, rule: ListRule, placing: Placing) -> Iterator[tuple[str, Instance]]:
        """One set, an anaesthetist, that supervisor or some minutes more for the session, and what there is then."""
        session, supervisor = self.instance.sessions[placing.session], placing.supervisor
        if rule is kit_sets:
            for item in (item for item in session.kit if item in self.case.kit):
                sets, again = session.kit[item].sets, session.kit[item].ready_again_after
                more = KitSets(sets=sets + 1, ready_again_after=again)
                says = f"{'One more set' if sets else 'A set'} in {session.in_words}: {self.case.kit[item]}."
                yield says, self._with(session, kit=session.kit | {item: more})
        elif rule is anaesthetist and not session.anaesthetist:
            yield f"An anaesthetist for {session.in_words}.", self._with(session, anaesthetist=True)
        elif rule is supervisor_fits and supervisor not in session.supervisors:
            if session.day not in self.instance.supervisors[supervisor].leave:
                joined = self._with(session, supervisors=[*session.supervisors, supervisor])
                yield f"{supervisor} also supervises in {session.in_words}.", joined
        elif rule is overrun:
            others = [s for s in self.instance.sessions.values() if s.room == session.room and s.id != session.id]
            for minutes in MORE_MINUTES:
                longer = session.model_copy(update={"minutes": session.minutes + minutes})
                if longer.minutes <= LONGEST_SESSION and not any(longer.meets(other) for other in others):
                    yield f"{minutes} minutes more for {session.in_words}.", self._with(session, minutes=longer.minutes)

    def _with(self, session: Session, **changed: Any) -> Instance:
        sessions = self.instance.sessions | {session.id: session.model_copy(update=changed)}
        return replace(self.instance, sessions=sessions)

    def an_answer(self, trials: list[Trial]) -> Iterator[Opened]:
        """What is not recorded, if the answer is such that the case may stand; a refusal is no such thing."""
        patient, agreed = self.case.patient, self.lists.both_eyes_agreed
        for trial in trials:
            for rule, says, answered in self._answers(trial.placing):
                if trial.rules == {rule.id}:
                    yield from self._now(self._with_case(answered), self.lists, trial, says)
            if trial.rules == {one_eye_a_day.id} and patient is not None:
                lists = replace(self.lists, both_eyes_agreed=agreed | {patient})
                says = f"Both eyes of {patient} on one day, if that is agreed."
                yield from self._now(self.instance, lists, trial, says)

    def _answers(self, placing: Placing) -> Iterator[tuple[ListRule, str, ListCase]]:
        """The case once what one rule asks of it is recorded, so that it may stand in that place."""
        case, approval = self.case, self.case.approval
        if case.consent is None:
            yield consent, "Consent to surgery, once it is given and recorded.", replace(case, consent=True)
        if case.agreement is None:
            yield agreement, "Agreement to a trainee, if given and recorded.", replace(case, agreement=True)
        if len(case.unsettled) == 1:
            yield settled, f"Once settled and recorded: {case.unsettled[0]}.", replace(case, unsettled=())
        if approval is not None and approval.stands and placing.trainee is not None:
            stage = self.instance.trainees[placing.trainee].stage
            wider = replace(approval, stages=approval.stages | {stage})
            says = f"Once a consultant approves it for {placing.trainee} ({stage})."
            yield approval_covers, says, replace(case, approval=wider)
        for order in self.instance.order:
            if case.order[order.id] is None:
                absent = replace(case, order=case.order | {order.id: False})
                yield fixed_order, f"Once recorded as absent: {order.asked}.", absent
        if case.reviewed_on is None:
            reviewed = replace(case, reviewed_on=self.instance.sessions[placing.session].day)
            yield first_eye_reviewed, "Once the first eye is examined and that is recorded.", reviewed

    def later_than_needed(self, trials: list[Trial]) -> Iterator[Opened]:
        """The earliest place after its last day, which stands only once the organiser accepts that."""
        if (last := self.case.last_day) is None:
            return
        accepted = self._with_case(replace(self.case, late_because="the organiser accepts it"))
        late = [(self.instance.sessions[one.placing.session].day, one) for one in trials if one.rules == {deadline.id}]
        for day, trial in sorted(late, key=lambda pair: pair[0]):
            says = f" {days((day - last).days)} past its date, if the organiser accepts it (`late_accepted`)."
            yield from self._now(accepted, self.lists, trial, self.key, says)

    def _with_case(self, case: ListCase) -> Instance:
        return replace(self.instance, cases=self.instance.cases | {self.key: case})

    def _now(self, instance: Instance, lists: Lists, trial: Trial, *words: str | Key) -> Iterator[Opened]:
        then = attempt(instance, lists, self.key, Assignment.of(trial.placing))
        if not self._new(then.broken):
            yield Opened(Opening(words, then.placing), instance, then.lists)

    def _new(self, broken: Iterable[Broken]) -> list[Broken]:
        return [one for one in broken if _what(one) not in self._known]


def _what(broken: Broken) -> tuple[str, str, str | None]:
    return broken.rule, broken.session, broken.case
