"""Lists being filled, case by case: each in the place that is worth most and breaks no rule, the checker judging.

What failed is not tried again while the lists of its day are the same; a list that can take no more minutes is not
tried at all, since one more case never makes it shorter.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable

from planner.lists.matching.equivalence import Alike, Places, Sort
from planner.lists.matching.insertion import Assignment, Trial, attempt
from planner.lists.matching.objective import Tally
from planner.lists.rules.people import trainee_is_free
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Key, Lists, Placing
from planner.lists.week.overrun import Time
from planner.lists.week.week import Week

Shorts = Callable[[Key], list[float]]


class Filling:
    """`shorts` says what lists lose by each place of a case, where that is known: what loses least then comes first.

    `price` is what a minute of theatre is taken to cost, in points: at 0 slow operators have theirs for nothing.
    """

    def __init__(self, alike: Alike, lists: Lists, shorts: Shorts | None = None, price: float = 0.0) -> None:
        self.instance, self.alike, self._shorts, self._price = alike.instance, alike, shorts, price
        self.trials = 0  # judged by the checker so far
        self._both = lists.both_eyes_agreed
        self._days: dict[object, tuple[Placing, ...]] = {}
        self._tally = Tally(self.instance, lists.placings)
        for placing in lists.placings:
            day = self.instance.sessions[placing.session].day
            self._days[day] = (*self._days.get(day, ()), placing)
        self._versions: Counter[object] = Counter()
        self._failed: set[tuple[int, Assignment, int]] = set()
        self._closed: set[tuple[int, Assignment]] = set()
        self._full: dict[tuple[str, Time, float, int], bool] = {}
        self._elsewhere: set[tuple[str, str | None]] = set()  # sessions with trainees who are not free for them
        self._loses: dict[Sort, list[float]] = {}
        self._week = Week(self.instance, Lists(()))

    @property
    def lists(self) -> Lists:
        return Lists(tuple(p for placings in self._days.values() for p in placings), self._both)

    def place(self, key: Key, losing: float = math.inf, sessions: Iterable[str] | None = None) -> bool:
        """Place a case in one of these `sessions` (None: any), if lists lose no more points by it than `losing`."""
        kind, places, loses = self.alike.kind(key), self.alike.places(key), self._losing(key)
        every: Iterable[int] = range(len(places.options))
        which = every if sessions is None else (n for each in sessions for n in places.of_session.get(each, ()))
        order = [n for n in which if (kind, places.options[n]) not in self._closed and loses[n] <= losing]
        points = self._points(key, places, order)
        order.sort(key=lambda n: (loses[n], -points[n]))
        for n in order:
            if (trial := self._tried(key, kind, places.options[n])) is not None:
                self._take(trial)
                return True
        return False

    def _losing(self, key: Key) -> list[float]:
        if self._shorts is None:
            return [0.0] * len(self.alike.possible(key))
        sort = self.alike.sort(key)
        if sort not in self._loses:
            self._loses[sort] = [round(short, 3) for short in self._shorts(key)]
        return self._loses[sort]

    def _points(self, key: Key, places: Places, which: list[int]) -> dict[int, float]:
        """What each of these places adds to the lists as they are now, less its minutes' price."""
        options = places.options
        trainees = dict.fromkeys((options[n].trainee for n in which), 0.0)
        sessions = dict.fromkeys((options[n].session for n in which), 0.0)
        for trainee in trainees:
            trainees[trainee] = sum(self._tally.of_trainee(key, trainee).values())
        for session in sessions:
            sessions[session] = sum(self._tally.of_session(key, session).values())
        return {
            n: round(
                places.worth[n] + trainees[options[n].trainee] + sessions[options[n].session]
                - self._price * places.minutes[n], 6
            ) for n in which
        }  # fmt: skip

    def _take(self, trial: Trial) -> None:
        day = self.instance.sessions[trial.placing.session].day
        self._days[day] = self.instance.on_days(trial.lists, day).placings
        self._versions[day] += 1
        self._tally.take(trial.placing)

    def bars(self, key: Key, option: Assignment) -> bool:
        """Whether a rule bars a case, on none of these lists, from that place."""
        kind = self.alike.kind(key)
        return (kind, option) in self._closed or self._tried(key, kind, option) is None

    def _tried(self, key: Key, kind: int, option: Assignment) -> Trial | None:
        """The lists of that day with the case there; None where a rule bars it."""
        day = self.instance.sessions[option.session].day
        version = self._versions[day]
        if (kind, option, version) in self._failed or (option.session, option.trainee) in self._elsewhere:
            return None
        if self._is_full(key, option, version):
            self._closed.add((kind, option))
            return None
        self.trials += 1
        today = self._days.get(day, ()) + self._other_eyes(key, day)
        trial = attempt(self.instance, Lists(today, self._both), key, option)
        if trial.broken:
            # Bars a trainee from a session whatever the case, and still does on a longer list.
            if trainee_is_free.id in trial.rules:
                self._elsewhere.add((option.session, option.trainee))
            self._failed.add((kind, option, version))
            # Others that come before a case can set it right; what another rule bars stays barred on a longer list.
            if not trial.rules <= RULES.of_order:
                self._closed.add((kind, option))
            return None
        return trial

    def _other_eyes(self, key: Key, day: object) -> tuple[Placing, ...]:
        """Where the patient's other cases stand on other days."""
        others = self.alike.of_patient(key)
        return tuple(
            p for other, placings in self._days.items() if others and other != day for p in placings if p.case in others
        )

    def _is_full(self, key: Key, option: Assignment, version: int) -> bool:
        """Whether one more operation of that length passes the chance limit, wherever it stands in the list."""
        time, added = self._week.time(option.placing(key)), self.instance.cases[key].added_minutes
        facts = option.session, time, added, version
        if facts not in self._full:
            today = self._days.get(self.instance.sessions[option.session].day, ())
            here = [p for p in today if p.session == option.session]
            week = Week(self.instance, Lists((*here, option.placing(key, len(here) + 1))))
            self._full[facts] = week.chance_of_overrun(option.session) > self.instance.overrun_chance
        return self._full[facts]
