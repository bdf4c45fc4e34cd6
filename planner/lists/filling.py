"""Lists being filled, case by case: each in the place that is worth most and breaks no rule, the checker judging.

What failed is not tried again while the lists of its day are the same; a list that can take no more minutes is not
tried at all, since one more case never makes it shorter.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.likeness import Alike, Sort
from planner.lists.minutes import Time, chance_of_overrun
from planner.lists.trials import Option, Trial, attempt
from planner.lists.week import Week
from planner.lists.worth import Tally, of_placing

Shorts = Callable[[Key], list[float]]
# A case may come to stand in its place once others lie before it; what another rule bars stays barred on a longer list.
_MAY_COME_RIGHT = frozenset({"kit-sets", "begun-first", "fixed-order"})


@dataclass
class _Places:
    """Where cases of a kind may stand on an empty list: the worth of each place alone, and what lists lose by it."""

    options: list[Option]
    worth: list[float]
    loses: list[float]


class Filling:
    """`shorts` says what lists lose by each place of a case, where that is known: what loses least then comes first."""

    def __init__(self, instance: Instance, alike: Alike, lists: Lists, shorts: Shorts | None = None) -> None:
        self.instance, self.alike, self._shorts = instance, alike, shorts
        self._both = lists.both_eyes_agreed
        self._days: dict[object, tuple[Placing, ...]] = {}
        self._tally = Tally(instance, lists.placings)
        for placing in lists.placings:
            day = instance.sessions[placing.session].day
            self._days[day] = (*self._days.get(day, ()), placing)
        self._versions: Counter[object] = Counter()
        self._failed: set[tuple[int, Option, int]] = set()
        self._closed: set[tuple[int, Option]] = set()
        self._full: dict[tuple[str, Time, float, int], bool] = {}
        self._places: dict[Sort, _Places] = {}
        self._week = Week(instance, Lists(()))

    @property
    def lists(self) -> Lists:
        return Lists(tuple(p for placings in self._days.values() for p in placings), self._both)

    def place(self, key: Key, possible: list[Option], losing: float = math.inf) -> tuple[dict[str, float], int] | None:
        """Place a case: what that adds by each wish, and how many places worth more were barred. None: nowhere.

        Places by which lists lose more than `losing` points are passed over.
        """
        kind, places = self.alike.kind(key), self._of(key, possible)
        order = [n for n, loses in enumerate(places.loses) if loses <= losing]
        points = self._points(key, places, order)
        order.sort(key=lambda n: (places.loses[n], -points[n]))
        for rank, n in enumerate(order):
            option = places.options[n]
            if (kind, option) in self._closed:
                continue
            trial = self._tried(key, kind, option)
            if trial is not None:
                added = of_placing(self.instance, trial.placing) | self._tally.with_one_more(key, option)
                self._take(trial)
                return added, sum(points[m] > points[n] for m in order[:rank])
        return None

    def _of(self, key: Key, possible: list[Option]) -> _Places:
        sort = self.alike.sort(key)
        if sort not in self._places:
            worth = [sum(of_placing(self.instance, option.placing(key)).values()) for option in possible]
            loses = [round(short, 3) for short in self._shorts(key)] if self._shorts else [0.0] * len(possible)
            self._places[sort] = _Places(possible, worth, loses)
        return self._places[sort]

    def _points(self, key: Key, places: _Places, which: list[int]) -> dict[int, float]:
        """What each of these places adds, with the wishes that look at the lists as they are now."""
        trainees = {name: sum(self._tally.of_trainee(key, name).values()) for name in (None, *self.instance.trainees)}
        sessions = {name: sum(self._tally.of_session(key, name).values()) for name in self.instance.sessions}
        worth, options = places.worth, places.options
        return {
            n: round(worth[n] + trainees[options[n].trainee] + sessions[options[n].session], 6) for n in which
        }  # fmt: skip

    def _take(self, trial: Trial) -> None:
        day = self.instance.sessions[trial.placing.session].day
        self._days[day] = trial.lists.placings
        self._versions[day] += 1
        self._tally.take(trial.placing)

    def bars(self, key: Key, option: Option) -> bool:
        """Whether a rule bars a case, on none of these lists, from that place."""
        kind = self.alike.kind(key)
        return (kind, option) in self._closed or self._tried(key, kind, option) is None

    def _tried(self, key: Key, kind: int, option: Option) -> Trial | None:
        """The lists of that day with the case there; None where a rule bars it."""
        day = self.instance.sessions[option.session].day
        version = self._versions[day]
        if (kind, option, version) in self._failed:
            return None
        if self._is_full(key, option, version):
            self._closed.add((kind, option))
            return None
        trial = attempt(self.instance, Lists(self._days.get(day, ()), self._both), key, option)
        if trial.broken:
            self._failed.add((kind, option, version))
            if not trial.rules <= _MAY_COME_RIGHT:
                self._closed.add((kind, option))
            return None
        return trial

    def _is_full(self, key: Key, option: Option, version: int) -> bool:
        """Whether one more operation of that length passes the chance limit, wherever it stands in the list."""
        time, added = self._week.time(option.placing(key)), self.instance.cases[key].added_minutes
        facts = option.session, time, added, version
        if facts not in self._full:
            session = self.instance.sessions[option.session]
            here = [p for p in self._days.get(session.day, ()) if p.session == option.session]
            fixed = (len(here) + 1) * self.instance.turnover + added
            fixed += sum(self.instance.cases[p.case].added_minutes for p in here)
            times = [self._week.time(p) for p in here] + [time]
            self._full[facts] = chance_of_overrun(times, fixed, session.minutes) > self.instance.overrun_chance
        return self._full[facts]
