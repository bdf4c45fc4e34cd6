"""Later places for cases that come off, found for all of them together: no two are told the same place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import replace
from functools import cache

from planner.lists.matching.insertion import Assignment, attempt, options
from planner.lists.matching.objective import ranked
from planner.lists.week.instance import Instance, Key, Lists, Placing

WORK = 600  # places tried for one set of cases


class LaterPlaces:
    """Sessions after the days that change, with the lists that they have, which stay as they are."""

    def __init__(
        self, instance: Instance, lists: Lists, days: Iterable[datetime.date], pressing: frozenset[Key]
    ) -> None:
        """`pressing` cases are placed before any other."""
        self.instance, self.pressing, self.lists, self.work = instance, pressing, lists, 0
        last = max(days, default=None)
        self._sessions = [s for s in instance.sessions.values() if last is None or s.day > last]
        self.options = cache(self._options)
        self._together = cache(lambda order: _JointSearch(self, order).best_places())

    def missing(self, keys: Iterable[Key]) -> tuple[int, int]:
        """How many of these cases, pressing and in all, find no later place."""
        keys = tuple(keys)
        placed = self.places(keys)
        left = [key for key in keys if key not in placed]
        return sum(key in self.pressing for key in left), len(left)

    def places(self, keys: Iterable[Key]) -> dict[Key, Placing]:
        """Places in which the fewest go without one, pressing cases first, as far as the work allowed shows it."""
        return self._together(tuple(sorted(set(keys), key=lambda key: (key not in self.pressing, key))))

    def _options(self, key: Key) -> list[Assignment]:
        """Where the case could go if no other came, what is worth most first; cases alone in it are the usual ones."""
        others = without(self.lists, (key,))
        best = [option for _, option, _ in ranked(self.instance, others, key, options(self.instance, self._sessions))]
        self.work += len(best)
        return [option for option in best if not attempt(self.instance, others, key, option).broken]


class _JointSearch:
    """A search through the cases in turn: each in one of its places, or in none."""

    def __init__(self, later: LaterPlaces, order: tuple[Key, ...]) -> None:
        self.later, self.order, self.work, self.whole = later, order, WORK, True
        self.turns = sorted(
            filter(later.options, order), key=lambda key: (key not in later.pressing, len(later.options(key)), key)
        )
        self.best: tuple[tuple[int, int], dict[Key, Placing]] | None = None

    def best_places(self) -> dict[Key, Placing]:
        self._deal(0, without(self.later.lists, self.order), (), (0, 0))
        assert self.best is not None
        return self.best[1]

    def _deal(self, turn: int, lists: Lists, placed: tuple[Key, ...], left: tuple[int, int]) -> None:
        if self.best is not None and (self.best[0] <= left or not self.whole):
            return
        if turn == len(self.turns):
            at = {placing.case: placing for placing in lists.placings if placing.case in placed}
            self.best = left, at
            return
        key = self.turns[turn]
        for option in self.later.options(key):
            if self.work <= 0:
                self.whole = False
                break
            self.work, self.later.work = self.work - 1, self.later.work + 1
            trial = attempt(self.later.instance, lists, key, option)
            if not trial.broken:
                self._deal(turn + 1, trial.lists, (*placed, key), left)
                if self.best is not None and self.best[0] <= left:
                    return
        self._deal(turn + 1, lists, placed, (left[0] + (key in self.later.pressing), left[1] + 1))


def without(lists: Lists, keys: Iterable[Key]) -> Lists:
    """Lists in which these cases have no place; the others' numbers are let be."""
    gone = frozenset(keys)
    return replace(lists, placings=tuple(placing for placing in lists.placings if placing.case not in gone))
