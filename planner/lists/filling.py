"""Lists being filled, case by case: each in the place that is worth most and breaks no rule, the checker judging.

What failed is not tried again while the lists of its day are the same; a list that can take no more minutes is not
tried at all, since one more case never makes it shorter.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable

from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.likeness import Alike
from planner.lists.minutes import Time, chance_of_overrun
from planner.lists.trials import Option, attempt
from planner.lists.week import Week
from planner.lists.worth import Tally, of_placing

Short = Callable[[Key, Option], float]


class Filling:
    """`short` says what lists lose by a placing, where that is known: what loses least then comes first."""

    def __init__(self, instance: Instance, alike: Alike, lists: Lists, short: Short | None = None) -> None:
        self.instance, self.alike, self._short = instance, alike, short
        self._lost: dict[tuple[int, object, Option], float] = {}
        self._both = lists.both_eyes_agreed
        self._days: dict[object, tuple[Placing, ...]] = {}
        self._tally = Tally(instance, lists.placings)
        for placing in lists.placings:
            day = instance.sessions[placing.session].day
            self._days[day] = (*self._days.get(day, ()), placing)
        self._versions: Counter[object] = Counter()
        self._failed: set[tuple[int, Option, int]] = set()
        self._full: dict[tuple[str, Time, float, int], bool] = {}
        self._worths: dict[tuple[int, Option], dict[str, float]] = {}
        self._week = Week(instance, Lists(()))

    @property
    def lists(self) -> Lists:
        return Lists(tuple(p for placings in self._days.values() for p in placings), self._both)

    def place(self, key: Key, possible: list[Option], losing: float = math.inf) -> tuple[dict[str, float], int] | None:
        """Place a case: what that adds by each wish, and how many places worth more were barred. None: nowhere.

        Places by which lists lose more than `losing` points are passed over.
        """
        kind = self.alike.kind(key)
        if self._short is not None:
            possible = [option for option in possible if self._loses(key, kind, option) <= losing]
        ranked = sorted(
            ((self._worth(key, kind, option) | self._tally.with_one_more(key, option), option) for option in possible),
            key=lambda one: (self._loses(key, kind, one[1]), -round(sum(one[0].values()), 6)),
        )
        better: list[float] = []
        for worth, option in ranked:
            points = round(sum(worth.values()), 6)
            if self._stands(key, kind, option):
                return worth, sum(before > points for before in better)
            better.append(points)
        return None

    def _stands(self, key: Key, kind: int, option: Option) -> bool:
        """Whether the case may stand there now; where it may, it is put there."""
        day = self.instance.sessions[option.session].day
        version = self._versions[day]
        if (kind, option, version) in self._failed or self._is_full(key, option, version):
            return False
        trial = attempt(self.instance, Lists(self._days.get(day, ()), self._both), key, option)
        if trial.broken:
            self._failed.add((kind, option, version))
            return False
        self._days[day] = trial.lists.placings
        self._versions[day] += 1
        self._tally.take(trial.placing)
        return True

    def _is_full(self, key: Key, option: Option, version: int) -> bool:
        """Whether one more operation of that length passes the chance limit, wherever it stands in the list."""
        own = Placing(option.session, 1, key, option.trainee, option.supervisor)
        time, added = self._week.time(own), self.instance.cases[key].added_minutes
        facts = option.session, time, added, version
        if facts not in self._full:
            session = self.instance.sessions[option.session]
            here = [p for p in self._days.get(session.day, ()) if p.session == option.session]
            fixed = (len(here) + 1) * self.instance.turnover + added
            fixed += sum(self.instance.cases[p.case].added_minutes for p in here)
            times = [self._week.time(p) for p in here] + [time]
            self._full[facts] = chance_of_overrun(times, fixed, session.minutes) > self.instance.overrun_chance
        return self._full[facts]

    def _worth(self, key: Key, kind: int, option: Option) -> dict[str, float]:
        placing = Placing(option.session, 1, key, option.trainee, option.supervisor)
        if key in self.instance.as_published:
            return of_placing(self.instance, placing)
        if (kind, option) not in self._worths:
            self._worths[(kind, option)] = of_placing(self.instance, placing)
        return self._worths[(kind, option)]

    def _loses(self, key: Key, kind: int, option: Option) -> float:
        if self._short is None:
            return 0.0
        case = kind, self.instance.cases[key].last_day, option
        if case not in self._lost or key in self.instance.as_published:
            self._lost[case] = round(self._short(key, option), 3)
        return self._lost[case]
