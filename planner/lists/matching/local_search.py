"""Lists made better without a solver: some cases are taken off and filled in anew, and that is kept if worth more.

Filling case by case gives minutes to slow operators early and mixes what would fill a list of its own. Here a minute
has a price, and cases that may stand in many places come before those that may stand in few. The work is counted in
trials of the checker, never in time, and chance is seeded: the same input gives the same lists everywhere.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from random import Random
from typing import TypeVar

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling
from planner.lists.matching.insertion import counted
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Key, Lists
from planner.lists.week.week import Week

TRIALS = 30_000  # places judged by the checker in all
IN_VAIN = 40  # tries in a row, for each session, after which nothing more is expected
PRICES = (0.25, 0.5, 0.75, 1.0, 1.25)  # points a minute; a place of 20 to 40 points takes 30 to 40 minutes
PARTS = (0.3, 0.5, 0.7, 1.0)  # of a session's cases, taken off at once
SHUFFLES = (0.0, 3.0, 10.0, 30.0)  # how many sorts of cases a sort may come earlier or later

_T = TypeVar("_T")


class Refilling:
    """The better of lists, of which `alike` says who waits and what is kept."""

    def __init__(self, alike: Alike) -> None:
        self.instance, self.alike, self.trials, self._chance = alike.instance, alike, 0, Random(1)
        of_sort = alike.by_sort(alike.waiting).values()
        self._sorts = sorted(of_sort, key=lambda keys: (self._urgent(keys[0]), -len(alike.possible(keys[0]))))
        days: dict[datetime.date, list[str]] = defaultdict(list)
        for session in self.instance.sessions.values():
            days[session.day].append(session.id)
        self._days, self._sessions = list(days.values()), list(self.instance.sessions)

    def better(self, lists: Lists) -> Lists:
        """Lists worth at least as much."""
        now, kept = lists, self.alike.kept
        self._worth = self.alike.worth(now)
        for price in PRICES:
            now = self._kept(now, self._filled(kept, self._sessions, price, 0.0), self._sessions)
        vain = 0
        while self.trials < TRIALS and vain < IN_VAIN * len(self._sessions):
            free = self._some()
            part, price, shuffle = self._one(PARTS), self._one(PRICES), self._one(SHUFFLES)
            stays = counted(
                p for p in now.placings
                if p.session not in free or p.case in kept.placed or self._chance.random() >= part
            )  # fmt: skip
            before = self._worth
            now = self._kept(now, self._filled(replace(lists, placings=stays), free, price, shuffle), free)
            vain = 0 if self._worth > before + 1e-6 else vain + 1
        return now

    def _kept(self, now: Lists, then: Lists, free: Iterable[str]) -> Lists:
        """The new lists where they are worth no less and break no rule."""
        worth = self.alike.worth(then)
        if worth < self._worth - 1e-9:
            return now
        # What was left on a list may break a rule of order without what was taken off.
        today = self.instance.on_days(then, *{self.instance.sessions[name].day for name in free})
        if not RULES.stands(Week(self.instance, today)):
            return now
        self._worth = worth
        return then

    def _filled(self, lists: Lists, free: list[str], price: float, shuffle: float) -> Lists:
        filling = Filling(self.alike, lists, price=price)
        ranks = [(self._urgent(keys[0]), n + shuffle * self._chance.random()) for n, keys in enumerate(self._sorts)]
        for n in sorted(range(len(ranks)), key=ranks.__getitem__):
            for key in self._sorts[n]:
                # Where one of a sort finds no place, no other does.
                if key not in lists.placed and not filling.place(key, sessions=free):
                    break
        self.trials += filling.trials
        return filling.lists

    def _urgent(self, key: Key) -> tuple[object, ...]:
        """Whose turn it is but for waiting: no case comes before a more urgent one, however they are shuffled."""
        return self.instance.turn(key)[:2]

    def _some(self) -> list[str]:
        """One day's sessions or two days', or any two or three."""
        if self._chance.random() < 0.5:
            return list(dict.fromkeys((*self._one(self._days), *self._one(self._days))))
        return list(dict.fromkeys(self._one(self._sessions) for _ in range(3)))

    def _one(self, among: Sequence[_T]) -> _T:
        return among[int(self._chance.random() * len(among))]
