"""Why a case is on no list: a smallest set of rules that blocks it, and the places that one change would open."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from planner.lists.checker import RULES
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.likeness import Alike
from planner.lists.openings import WORK, Opening, opened
from planner.lists.trials import Option, Trial, attempt, options
from planner.lists.week import Broken, Week

NEAREST = 2
WORK_OF_MANY = 40  # places tried for other cases, where many cases have none


@dataclass(frozen=True)
class Near:
    """A place that few rules bar, and what they say of it."""

    placing: Placing
    broken: tuple[Broken, ...]


@dataclass(frozen=True)
class Blocked:
    """`rules` alone bar every place, with all other cases where they are; without any one of them a place is open."""

    case: Key
    told: str
    rules: tuple[str, ...]
    nearest: tuple[Near, ...]
    openings: tuple[Opening, ...]


def why_not(
    instance: Instance, lists: Lists, key: Key, fixed: frozenset[Key] = frozenset(), work: int = WORK
) -> Blocked:
    """What bars a case from every place, the lists being as they are, and what one change would place it.

    Cases in `fixed` stay where they are.
    """
    rules, near = _barred(instance, lists, key)
    changes = opened(instance, lists, key, near, fixed, work)
    return Blocked(key, instance.cases[key].told, rules, _nearest(near), tuple(one.opening for one in changes))


def why_none(
    instance: Instance, lists: Lists, keys: Iterable[Key], fixed: frozenset[Key] = frozenset()
) -> tuple[Blocked, ...]:
    """The same of many cases; those that no rule can tell apart are tried once, and then told each in its own name."""
    alike = Alike(instance)
    known: dict[tuple[int, datetime.date | None], tuple[Blocked, list[Option]]] = {}
    found = []
    for key in keys:
        case = instance.cases[key]
        kind = alike.kind(key), case.last_day
        if kind not in known:
            first = why_not(instance, lists, key, fixed, WORK_OF_MANY)
            known[kind] = first, [_option(one.placing) for one in first.nearest]
        first, options_near = known[kind]
        near = [attempt(instance, lists, key, option) for option in options_near]
        changes = tuple(
            Opening(one.says.replace(first.told, case.told), replace(one.placing, case=key)) for one in first.openings
        )
        found.append(Blocked(key, case.told, first.rules, tuple(Near(n.placing, n.broken) for n in near), changes))
    return tuple(found)


def _barred(instance: Instance, lists: Lists, key: Key) -> tuple[tuple[str, ...], list[Trial]]:
    trials = [attempt(instance, lists, key, option) for option in _different(instance, lists)]
    rules = smallest_block([trial.rules for trial in trials])
    return rules, sorted(trials, key=lambda trial: (len(trial.rules), len(trial.broken)))


def _different(instance: Instance, lists: Lists) -> Iterator[Option]:
    """Every session with every pair, but one of people whom no rule can tell apart on its day."""
    week = Week(instance, lists)
    seen: set[object] = set()
    for option in options(instance, of_the_session=False):
        session = instance.sessions[option.session]
        learner = instance.trainees[option.trainee] if option.trainee else None
        held = instance.supervisors[option.supervisor]
        today = [p for p in lists.placings if instance.sessions[p.session].day == session.day]
        trainee = learner and (
            learner.stage, learner.steps_cleared, session.day in learner.leave,
            frozenset(p.session for p in today if p.trainee == learner.id),
        )  # fmt: skip
        supervisor = (
            held.grade, tuple(held.can), held.on_site_rooms, session.day in held.leave, held.id in session.supervisors,
            frozenset((p.session, week.mode_served(p)) for p in today if p.supervisor == held.id),
        )  # fmt: skip
        if (session.id, trainee, supervisor) not in seen:
            seen.add((session.id, trainee, supervisor))
            yield option


def _option(placing: Placing) -> Option:
    return Option(placing.session, placing.trainee, placing.supervisor)


def smallest_block(barred_by: Iterable[frozenset[str]]) -> tuple[str, ...]:
    """The first of the smallest sets of rules with a rule in common with each of these; empty when one of them is.

    >>> smallest_block([frozenset({"overrun", "deadline"}), frozenset({"overrun"}), frozenset({"kit-sets"})])
    ('kit-sets', 'overrun')
    """
    families = {family for family in barred_by}
    least = [family for family in families if not any(other < family for other in families)]
    for size in range(len(RULES) + 1):
        for chosen in combinations(RULES, size):
            if all(family.intersection(chosen) for family in least):
                return chosen
    return ()


def _nearest(trials: list[Trial]) -> tuple[Near, ...]:
    """The nearest places, one for each set of rules that bars them."""
    found: dict[frozenset[str], Near] = {}
    for trial in trials:
        if trial.broken and len(trial.rules) == len(trials[0].rules):
            found.setdefault(trial.rules, Near(trial.placing, trial.broken))
    return tuple(found.values())[:NEAREST]
