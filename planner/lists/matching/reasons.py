"""Why a case is where it is, or on no list: what its place adds, what bars it, and what one change would place it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling
from planner.lists.matching.insertion import Assignment, Trial, attempt
from planner.lists.matching.objective import ranked
from planner.lists.matching.suggestion import WORK, Opening, opened
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import supervisor_fits
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists
from planner.lists.week.week import Week

NEAREST = 2
WORK_OF_MANY = 40  # places tried for other cases, where many cases have none
_Sorts = dict[object, dict[frozenset[object], str]]  # by what tells people apart, then by what ties them meanwhile


@dataclass(frozen=True)
class Reason:
    """What the place adds by each wish, all others being where they are; `barred` places worth more break a rule."""

    case: Key
    worth: dict[str, float]
    barred: int
    pressing: str

    @property
    def total(self) -> float:
        return sum(self.worth.values())


def pressing(instance: Instance, key: Key) -> str:
    """How pressing a case is, in words."""
    return instance.cases[key].waiting.words(instance.planned_on, key in instance.past_their_date)


def reasons(alike: Alike, lists: Lists) -> dict[Key, Reason]:
    """For each case that was not kept, what its place adds to the others, and how many worth more a rule bars."""
    instance, full, why = alike.instance, Filling(alike, lists), {}
    for placing in lists.placings:
        if placing.case in alike.kept.placed:
            continue
        key, day = placing.case, instance.sessions[placing.session].day
        others = Lists(tuple(one for one in lists.placings if one.case != key), lists.both_eyes_agreed)
        own = Assignment.of(placing)
        by_worth = ranked(instance, others, key, alike.possible(key))
        points, worth = next((points, worth) for points, option, worth in by_worth if option == own)
        there = Filling(alike, others)  # the case is away only from the lists of its own day
        better = (option for more, option, _ in by_worth if more > points)
        barred = sum(
            (there if instance.sessions[option.session].day == day else full).bars(key, option) for option in better
        )
        why[key] = Reason(key, worth, barred, pressing(instance, key))
    return why


@dataclass(frozen=True)
class Blocked:
    """`rules` alone, none to spare, bar every place, all others being where they are; few bar the `nearest`."""

    case: Key
    told: str
    rules: tuple[str, ...]
    nearest: tuple[Trial, ...]
    openings: tuple[Opening, ...]


def why_not(
    instance: Instance, lists: Lists, key: Key, fixed: frozenset[Key] = frozenset(), work: int = WORK
) -> Blocked:
    """What bars a case from every place as the lists are, and what one change, not of cases in `fixed`, places it."""
    rules, barred = _barred(instance, lists, key)
    openings = tuple(one.opening for one in opened(instance, lists, key, barred, fixed, work))
    nearest: dict[frozenset[str], Trial] = {}  # one for each set of rules that bars them
    for trial in barred:
        if trial.broken and len(trial.rules) == len(barred[0].rules):
            nearest.setdefault(trial.rules, trial)
    return Blocked(key, instance.cases[key].in_words, rules, tuple(nearest.values())[:NEAREST], openings)


def barring(instance: Instance, lists: Lists, keys: Iterable[Key]) -> dict[Key, tuple[str, ...]]:
    """The rules that bar each of these cases from every place; cases that no rule can tell apart are tried once."""
    alike, known = Alike(instance), dict[object, tuple[str, ...]]()
    bars = {}
    for key in keys:
        kind = alike.kind(key), alike.deadline(key)
        if kind not in known:
            known[kind] = _barred(instance, lists, key)[0]
        bars[key] = known[kind]
    return bars


def why_none(alike: Alike, lists: Lists, keys: Iterable[Key]) -> tuple[Blocked, ...]:
    """The same of many cases; those that no rule can tell apart are tried once, and then told each in its own name."""
    instance, known, blocked = alike.instance, dict[Hashable, Blocked](), []
    for key in keys:
        case = instance.cases[key]
        # What is to be settled is told, though no rule asks what it is.
        kind = alike.kind(key), alike.deadline(key), case.unsettled
        if kind not in known:
            known[kind] = why_not(instance, lists, key, alike.kept.placed, WORK_OF_MANY)
        first = known[kind]
        nearest = tuple(attempt(instance, lists, key, Assignment.of(one.placing)) for one in first.nearest)
        openings = tuple(one.for_case(key) for one in first.openings)
        blocked.append(Blocked(key, case.in_words, first.rules, nearest, openings))
    return tuple(blocked)


def _barred(instance: Instance, lists: Lists, key: Key) -> tuple[tuple[str, ...], list[Trial]]:
    """The smallest block, and every place tried, each on the lists of its own day and the patient's other eye."""
    trials, patient = list[Trial](), instance.cases[key].patient
    eyes = [p for p in lists.placings if patient is not None and instance.cases[p.case].patient == patient]
    for session in instance.coming:
        here = instance.on_days(lists, session.day).placings
        today = replace(lists, placings=tuple(dict.fromkeys((*here, *eyes))))
        trials += [attempt(instance, today, key, option) for option in _different(instance, session, today)]
    # Where there is nobody to supervise there is no place to try.
    rules = smallest_block([trial.rules for trial in trials]) if trials else (supervisor_fits.id,)
    return rules, sorted(trials, key=lambda trial: (len(trial.rules), len(trial.broken)))


def _different(instance: Instance, session: Session, today: Lists) -> Iterator[Assignment]:
    """The session with every pair, but one of people whom no rule can tell apart on its day."""
    week = Week(instance, today)
    meeting = [p for p in today.placings if p.session != session.id and instance.sessions[p.session].meets(session)]
    trainees: _Sorts = defaultdict(dict)
    for name, learner in instance.trainees.items():
        tied = frozenset(p.session for p in meeting if p.trainee == name)
        trainees[tuple(fact.tells(learner, session) for fact in RULES.telling("trainee"))].setdefault(tied, name)
    supervisors: _Sorts = defaultdict(dict)
    for name, person in instance.supervisors.items():
        ties = frozenset((p.session, week.mode_served(p)) for p in meeting if p.supervisor == name)
        supervisors[tuple(fact.tells(person, session) for fact in RULES.telling("supervisor"))].setdefault(ties, name)
    for trainee in (*_one_of_each(trainees), None):
        for supervisor in _one_of_each(supervisors):
            yield Assignment(session.id, trainee, supervisor)


def _one_of_each(sorts: _Sorts) -> list[str]:
    """Of each sort one who is free, since whoever is tied is barred by all that bars that one; if none, of each tie."""
    free: frozenset[object] = frozenset()
    return [name for ties in sorts.values() for name in ([ties[free]] if free in ties else ties.values())]


def smallest_block(barred_by: Iterable[frozenset[str]]) -> tuple[str, ...]:
    """The first of the smallest sets of rules with a rule in common with each of these; empty when one of them is.

    >>> smallest_block([frozenset({"overrun", "deadline"}), frozenset({"overrun"}), frozenset({"kit-sets"})])
    ('kit-sets', 'overrun')
    """
    families = set(barred_by)
    if frozenset() in families:  # no set has anything in common with it, and trying them all takes minutes
        return ()
    least = [family for family in families if not any(other < family for other in families)]
    for size in range(len(RULES.ids) + 1):
        for chosen in combinations(RULES.ids, size):
            if all(family.intersection(chosen) for family in least):
                return chosen
    return ()
