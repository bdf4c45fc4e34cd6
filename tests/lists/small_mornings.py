"""Small invented mornings by chance, and the smallest change of each by trying every list there is.

Written from the README's measure, with the checker and nothing of the repair's search.
"""

from __future__ import annotations

import datetime
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import permutations, product

from lists.small_weeks import HARD, PEOPLE, THURSDAY, TUESDAY, eye, session, sets, week

from planner.lists.changes.disrupted_week import DisruptedWeek, disrupted_week
from planner.lists.changes.disruption import CaseAdded, CaseBegun, CaseCancelled, Disruption, PersonAway, SessionChange
from planner.lists.matching.match import match
from planner.lists.roster.shapes import Supervisor
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance, Key, Lists, Placing

HOOKS = {"iris-hooks": "Iris hooks"}
SUPERVISORS = (
    Supervisor(id="consultant", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="trainer", grade="trainer", can=["scrubbed", "in-theatre", "on-site"]),
)


@dataclass(frozen=True)
class Morning:
    instance: Instance
    lists: Lists
    happened: Disruption
    locked: frozenset[Key]


def morning(seed: int) -> Morning:
    """Two theatres on Tuesday and one on Thursday, three or four cases, and one or two things that happen."""
    chance = random.Random(seed)
    minutes = chance.choice([95, 125, 240])
    sessions = [
        session("one", minutes=minutes, supervisors=["consultant", "trainer"], kit={"iris-hooks": sets(1, 30)}),
        session("two", minutes=chance.choice([65, 95, 240]), supervisors=chance.choice([["consultant"], ["trainer"]]),
                kit={"iris-hooks": sets(chance.choice([0, 1]))}),
        session("later", day=THURSDAY, minutes=chance.choice([45, 65, 95]), supervisors=["consultant"]),
    ]  # fmt: skip
    few = chance.random() < 0.4
    trainees = PEOPLE[1:2] if few else PEOPLE[:2]
    cases = []
    for name in "ABCD" if few else "ABC":
        changed: dict[str, object] = {}
        if chance.random() < 0.2:
            changed |= {"tier": 3, "with_stage": HARD}
        if chance.random() < 0.3:
            changed |= {"kit": HOOKS}
        if chance.random() < 0.3:
            changed |= {"urgency": "urgent"}
        if chance.random() < 0.15:
            changed |= {"order": {"latex-first": True, "infection-last": False}}
        elif chance.random() < 0.15:
            changed |= {"order": {"latex-first": False, "infection-last": True}}
        if chance.random() < 0.3:
            changed |= {"away": frozenset({THURSDAY})}
        if chance.random() < 0.15:
            changed |= {"agreement": False}
        cases.append(eye(name, **changed))
    added = eye("U", urgency="urgent", **({"kit": HOOKS} if chance.random() < 0.3 else {}))
    instance = week([*cases, added], sessions, trainees, SUPERVISORS)
    lists = match(week(cases, sessions[:2], trainees, SUPERVISORS)).lists
    return Morning(instance, lists, *_happened(chance, lists, [trainee.id for trainee in trainees]))


def _happened(chance: random.Random, lists: Lists, trainees: list[str]) -> tuple[Disruption, frozenset[Key]]:
    told: dict[str, object] = {"on": TUESDAY}
    placed = [placing.case for placing in sorted(lists.placings)]
    for what in chance.sample(["away", "short", "lost", "added", "running"], chance.choice([1, 1, 2])):
        if what == "away":
            who = chance.choice([*trainees, "consultant", "trainer"])
            told["away"] = [PersonAway(who=who, day=TUESDAY, because="ill")]
        elif what == "short":
            changed = SessionChange(session="one", minutes=chance.choice([45, 65, 95]), because="the scrub nurse goes")
            told["changed"] = [changed]
        elif what == "lost":
            told["changed"] = [SessionChange(session=chance.choice(["one", "two"]), lost=True, because="no water")]
        elif what == "added":
            told["added"] = [CaseAdded(case="U", eye="right", day=TUESDAY, because="a tense white lens")]
        elif what == "running" and placed:
            first = next((p for p in sorted(lists.placings) if p.place == 1), None)
            told["now"] = datetime.time(chance.choice([9, 10]), chance.choice([0, 20, 40]))
            if first is not None:
                until = datetime.time(10, chance.choice([0, 30, 50]))
                told["begun"] = [CaseBegun(case=first.case[0], eye=first.case[1], until=chance.choice([None, until]))]
    begun = {(one.case, one.eye) for one in told.get("begun", [])}  # type: ignore[attr-defined]
    if placed and chance.random() < 0.15 and placed[-1] not in begun:
        told["cancelled"] = [CaseCancelled(case=placed[-1][0], eye=placed[-1][1], because="did not come")]
    locked = frozenset(placed[:1]) if chance.random() < 0.2 else frozenset()
    return Disruption.model_validate(told), locked


class EveryList:
    """Every list of the day, in every order: the least measure of those that stand as far as they can."""

    def __init__(self, one: Morning) -> None:
        self.after: DisruptedWeek = disrupted_week(one.instance, one.lists, one.happened)
        self.instance, self.before = self.after.instance, self.after.lists
        self.was = {placing.case: placing for placing in self.before.placings}
        lost = set(self.after.lost)
        self.today = [s for s in self.instance.sessions.values() if s.day == TUESDAY and s.id not in lost]
        stays = one.locked - self.after.begun
        self.fixed = [
            p for p in self.before.placings if p.case in self.after.begun or (p.case in stays and p.session not in lost)
        ]
        held = {placing.case for placing in self.fixed}
        self.free = [key for key in dict.fromkeys([*self.was, *self.after.added]) if key not in held]
        self._left: dict[frozenset[Key], tuple[int, int]] = {}
        self.given = self._faults(tuple(self.fixed))

    def least(self) -> tuple[int, ...]:
        best: tuple[int, ...] | None = None
        every = sorted(((self._placed(found), found) for found in self._every()), key=lambda each: each[0])
        for (pressing, off, *rest), found in every:
            if best is not None and pressing > best[0]:
                break
            if best is not None and (pressing, 0, off, 0, *rest) >= best:
                continue
            gone = frozenset(key for key in self.free if key not in {placing.case for placing in found})
            pressing_left, left = self._no_later_place(gone)
            cost = (pressing, pressing_left, off, left, *rest)
            if (best is None or cost < best) and self._stands(found):
                best = cost
        assert best is not None
        return best

    def _pressing(self, key: Key) -> bool:
        case = self.instance.cases[key]
        dated = case.last_day is not None and case.urgency != "routine"
        return case.urgency == "urgent" or dated or key in self.after.added

    def _every(self) -> Iterator[tuple[Placing, ...]]:
        pairs = [
            (s.id, trainee, name)
            for s in self.today
            for trainee in (*self.instance.trainees, None)
            for name in s.supervisors
        ]
        choices: list[list[tuple[str, str | None, str] | None]] = []
        for key in self.free:
            added = self.after.added.get(key)
            mine = [where for where in pairs if added is None or added.session in (None, where[0])]
            choices.append([None, *(where for where in mine if self._alone(key, where))])
        for chosen in product(*choices):
            placed = [Placing(where[0], 1, key, where[1], where[2])
                      for key, where in zip(self.free, chosen, strict=True) if where is not None]  # fmt: skip
            yield from self._orders([*placed, *self.fixed])

    def _orders(self, placed: list[Placing]) -> Iterator[tuple[Placing, ...]]:
        """Every order of every list; what is begun comes first, in the order in which it was."""
        names = sorted({placing.session for placing in placed})
        lists = []
        for name in names:
            begun = [p for p in self.fixed if p.session == name and p.case in self.after.begun]
            rest = [p for p in placed if p.session == name and p not in begun]
            lists.append([(*begun, *order) for order in permutations(rest)])
        for orders in product(*lists):
            yield tuple(replace(p, place=n) for order in orders for n, p in enumerate(order, 1))

    def _alone(self, key: Key, where: tuple[str, str | None, str]) -> bool:
        """Whether the case stands there with no other at all; where it does not, more cases do not help."""
        return check(self.instance, Lists((Placing(where[0], 1, key, where[1], where[2]),))).stands

    def _placed(self, found: tuple[Placing, ...]) -> tuple[int, ...]:
        """The measure but for later places: pressing off, off, other session, people changed, reordered."""
        now = {placing.case: placing for placing in found}
        gone = [key for key in self.free if key not in now]
        both = [(self.was[key], now[key]) for key in self.free if key in now and key in self.was]
        moved = sum(was.session != placing.session for was, placing in both)
        people = sum((was.trainee != p.trainee) + (was.supervisor != p.supervisor) for was, p in both)
        order = 0
        for name in {placing.session for placing in found}:
            stayed = [self.was[p.case].place for p in sorted(found) if p.session == name and p.case in self.was
                      and self.was[p.case].session == name]  # fmt: skip
            order += len(stayed) - longest_rising(stayed)
        return sum(map(self._pressing, gone)), len(gone), moved, people, order

    def _faults(self, placings: tuple[Placing, ...]) -> set[tuple[str, str, str]]:
        others = tuple(p for p in self.before.placings if self.instance.sessions[p.session].day != TUESDAY)
        broken = check(self.instance, Lists((*others, *placings))).broken
        return {(one.rule, one.session, one.says if one.case is None else one.case) for one in broken}

    def _stands(self, found: tuple[Placing, ...]) -> bool:
        """Nothing is broken but what the begun and locked cases break by themselves."""
        return self._faults(found) <= self.given

    def _no_later_place(self, gone: frozenset[Key]) -> tuple[int, int]:
        """How many of the cases off, pressing and in all, no later lists can hold, tried together in every way."""
        if gone not in self._left:
            later = [s for s in self.instance.sessions.values() if s.day > TUESDAY]
            pairs = [(s.id, t, name) for s in later for t in (*self.instance.trainees, None) for name in s.supervisors]
            keys = sorted(gone)
            fits = {key: [where for where in pairs if self._alone(key, where)] for key in keys}
            best = (sum(map(self._pressing, keys)), len(keys))
            others = tuple(p for p in self.before.placings if self.instance.sessions[p.session].day != TUESDAY)
            for chosen in product(*([None, *fits[key]] for key in keys)):
                placed = [Placing(where[0], 1, key, where[1], where[2])
                          for key, where in zip(keys, chosen, strict=True) if where is not None]  # fmt: skip
                left = [key for key, where in zip(keys, chosen, strict=True) if where is None]
                value = sum(map(self._pressing, left)), len(left)
                if value < best and any(
                    check(self.instance, Lists((*others, *found))).stands for found in self._orders(placed)
                ):
                    best = value
            self._left[gone] = best
        return self._left[gone]


def longest_rising(numbers: list[int]) -> int:
    """
    >>> longest_rising([3, 1, 2, 5, 4])
    3
    """
    best: list[int] = []
    for n, number in enumerate(numbers):
        best.append(1 + max((best[m] for m in range(n) if numbers[m] < number), default=0))
    return max(best, default=0)
