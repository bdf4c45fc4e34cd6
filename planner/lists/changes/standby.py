"""Who could have a place that falls free: waiting cases in their turn, each with the people it would have there."""

from __future__ import annotations

from dataclasses import dataclass

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.insertion import Assignment, Trial, attempt, options
from planner.lists.matching.objective import ranked
from planner.lists.matching.reasons import pressing
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import asked_of
from planner.lists.rules.people import supervisor_fits
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week


@dataclass(frozen=True)
class Standby:
    """A case that every rule lets stand there: its place, how pressing it is, and what is still to ask of it."""

    case: Key
    in_words: str
    placing: Placing
    lists: Lists
    pressing: str
    asked: tuple[str, ...]


@dataclass(frozen=True)
class StandbyList:
    """`ready` can come at short notice, whose turn it is first; of `to_ask` nobody knows whether they can.

    `barred` can come, and these rules bar every pair of people in the session.
    """

    session: Session
    ready: tuple[Standby, ...]
    to_ask: tuple[Standby, ...]
    barred: tuple[tuple[str, tuple[str, ...]], ...]


def standby(instance: Instance, lists: Lists, session: str, unknown: bool = True) -> StandbyList:
    """Waiting cases for a session as its list now is: who can come at short notice, or with `unknown` perhaps can."""
    placed, alike = lists.placed, Alike(instance)
    known: dict[object, tuple[Assignment | None, tuple[str, ...]]] = {}
    ready: list[Standby] = []
    to_ask: list[Standby] = []
    barred: list[tuple[str, tuple[str, ...]]] = []
    for key in sorted(instance.cases, key=instance.turn):
        case = instance.cases[key]
        if key in placed or case.short_notice is False or (case.short_notice is None and not unknown):
            continue
        kind = alike.sort(key)
        if kind not in known:
            known[kind] = _where(instance, lists, key, session)
        option, rules = known[kind]
        if option is not None:
            (ready if case.short_notice else to_ask).append(_there(instance, lists, key, option))
        elif case.short_notice:
            barred.append((case.in_words, rules))
    return StandbyList(instance.sessions[session], tuple(ready), tuple(to_ask), tuple(barred))


def _where(instance: Instance, lists: Lists, key: Key, session: str) -> tuple[Assignment | None, tuple[str, ...]]:
    """The pair worth most that keeps every rule; without one, the fewest rules that bar a pair."""
    trials: list[Trial] = []
    for _, option, _ in ranked(instance, lists, key, options(instance, [instance.sessions[session]])):
        trials.append(attempt(instance, lists, key, option))
        if not trials[-1].broken:
            return option, ()
    nearest = min(trials, key=lambda trial: len(trial.rules), default=None)
    return None, tuple(dict.fromkeys(one.rule for one in nearest.broken)) if nearest else (supervisor_fits.id,)


def _there(instance: Instance, lists: Lists, key: Key, option: Assignment) -> Standby:
    trial = attempt(instance, lists, key, option)
    asked = asked_of(Week(instance, trial.lists), trial.placing)
    says = tuple(f"{one.says} {one.change}" for one in asked)
    return Standby(key, instance.cases[key].in_words, trial.placing, trial.lists, pressing(instance, key), says)
