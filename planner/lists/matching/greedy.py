"""Lists being filled, case by case: each in the place that is worth most and breaks no rule, the checker judging.

What failed is not tried again while the lists of its day are the same; a list that can take no more minutes is not
tried at all, since one more case never makes it shorter.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from planner.lists.matching.equivalence import Alike, Sort
from planner.lists.matching.insertion import Assignment, Trial, attempt
from planner.lists.matching.objective import Tally, worth_of
from planner.lists.rules.people import trainee_is_free
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.overrun import Time
from planner.lists.week.week import Week

Shorts = Callable[[Key], list[float]]


@dataclass
class _Places:
    """Where cases of a sort may stand on an empty list: each place's own worth and minutes, and those by session."""

    options: list[Assignment]
    worth: list[float]
    minutes: list[float]
    of_session: dict[str, list[int]]


class Known:
    """What is so of an instance whatever stands on its lists, for many fillings of them; `possible` as in `match`."""

    def __init__(self, instance: Instance, alike: Alike) -> None:
        self.instance, self.alike = instance, alike
        self._places: dict[Sort, _Places] = {}
        self._worth: dict[tuple[Sort, Assignment], float] = {}
        self._week = Week(instance, Lists(()))

    def worth(self, lists: Lists) -> float:
        """What lists are worth altogether, as `objective.of_lists`."""
        return sum(map(self._alone, lists.placings)) + sum(Tally(self.instance, lists.placings).points().values())

    def _alone(self, placing: Placing) -> float:
        facts = self.alike.sort(placing.case), Assignment.of(placing)
        if facts not in self._worth:
            self._worth[facts] = worth_of(self.instance, placing)
        return self._worth[facts]

    def of(self, key: Key, possible: list[Assignment]) -> _Places:
        sort = self.alike.sort(key)
        if sort not in self._places:
            placings = [option.placing(key) for option in possible]
            by_session: dict[str, list[int]] = {}
            for n, option in enumerate(possible):
                by_session.setdefault(option.session, []).append(n)
            fixed = self.instance.turnover + self.instance.cases[key].added_minutes
            self._places[sort] = _Places(
                possible,
                [worth_of(self.instance, placing) for placing in placings],
                [self._week.time(placing).mean + fixed for placing in placings],
                by_session,
            )
        return self._places[sort]


class Filling:
    """`shorts` says what lists lose by each place of a case, where that is known: what loses least then comes first.

    `price` is what a minute of theatre is taken to cost, in points: at 0 slow operators have theirs for nothing.
    """

    def __init__(
        self,
        instance: Instance,
        alike: Alike,
        lists: Lists,
        shorts: Shorts | None = None,
        price: float = 0.0,
        known: Known | None = None,
    ) -> None:
        self.instance, self.alike, self._shorts, self._price = instance, alike, shorts, price
        self._known = known or Known(instance, alike)
        self.trials = 0  # judged by the checker so far
        self._both = lists.both_eyes_agreed
        self._days: dict[object, tuple[Placing, ...]] = {}
        self._tally = Tally(instance, lists.placings)
        for placing in lists.placings:
            day = instance.sessions[placing.session].day
            self._days[day] = (*self._days.get(day, ()), placing)
        self._versions: Counter[object] = Counter()
        self._failed: set[tuple[int, Assignment, int]] = set()
        self._closed: set[tuple[int, Assignment]] = set()
        self._full: dict[tuple[str, Time, float, int], bool] = {}
        self._elsewhere: set[tuple[str, str | None]] = set()  # sessions with trainees who are not free for them
        self._loses: dict[Sort, list[float]] = {}
        self._week = Week(instance, Lists(()))

    @property
    def lists(self) -> Lists:
        return Lists(tuple(p for placings in self._days.values() for p in placings), self._both)

    def place(
        self, key: Key, possible: list[Assignment], losing: float = math.inf, sessions: Iterable[str] | None = None
    ) -> bool:
        """Place a case, in one of these `sessions` (None: any); whether it found a place.

        Places by which lists lose more than `losing` points are passed over.
        """
        kind, places = self.alike.kind(key), self._known.of(key, possible)
        if sessions is None:
            which: Iterable[int] = range(len(places.options))
        else:
            which = (n for session in sessions for n in places.of_session.get(session, ()))
        order = [n for n in which if (kind, places.options[n]) not in self._closed]
        loses = self._losing(key) if self._shorts is not None else None
        if loses is not None:
            order = [n for n in order if loses[n] <= losing]
        points = self._points(key, places, order)
        order.sort(key=lambda n: (0.0 if loses is None else loses[n], -points[n]))
        for n in order:
            trial = self._tried(key, kind, places.options[n])
            if trial is not None:
                self._take(trial)
                return True
        return False

    def _losing(self, key: Key) -> list[float]:
        sort = self.alike.sort(key)
        if sort not in self._loses:
            assert self._shorts is not None
            self._loses[sort] = [round(short, 3) for short in self._shorts(key)]
        return self._loses[sort]

    def _points(self, key: Key, places: _Places, which: list[int]) -> dict[int, float]:
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
