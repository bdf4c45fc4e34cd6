"""What no lists can be worth more than, however large the pool: a linear programme that drops most rules.

Kinds of cases go into sessions, in parts if need be, each with a sort of trainee and the supervisor worth most; a
session holds a mixture of the fullest lists within the chance limit. Trainees whom no rule and no wish tells apart are
one sort and share evenly. Rules about who is free and about kit are held in proportion only, and order is dropped:
nothing that the checker lets stand is worth more.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import product
from typing import Any

from planner.lists.matching import capacity
from planner.lists.matching.equivalence import Alike, Sort
from planner.lists.matching.insertion import Assignment
from planner.lists.matching.linear_programme import Programme
from planner.lists.matching.objective import HARD, is_whole, needed
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import FROM_OUTSIDE
from planner.lists.rules.sessions import limits_of
from planner.lists.week.instance import Key
from planner.lists.week.week import Week

_Trainees = object  # of trainees; None for no trainee


# Session, trainees, minutes, whether the whole operation; the supervisor and whether tied to the room, where another
# may want them at that moment.
_Place = tuple[str, _Trainees, float, bool, tuple[str, bool] | None]


@dataclass
class _Share:
    """At most `count` of a kind (`key` is the first) in a session with a sort of trainee; `points` of the best pair."""

    key: Key
    sort: _Trainees
    minutes: float
    supervisor: tuple[str, bool] | None
    points: float
    count: int
    variable: int


class Bound:
    """The programme over one instance, and what it says of lists that are better than some others."""

    def __init__(self, alike: Alike) -> None:
        self.instance, self.kept, self.alike = alike.instance, alike.kept, alike
        self.week = Week(self.instance, self.kept)
        self.programme = Programme()
        self.sorts = self._sorts()
        self.had: dict[_Trainees, list[int]] = defaultdict(list)
        self.whole: dict[_Trainees, list[int]] = defaultdict(list)
        self.here: dict[str, list[_Share]] = defaultdict(list)  # by session
        self._shares: dict[tuple[Sort, _Place], _Share] = {}
        self._shorts: dict[Sort, list[float]] = {}
        self.together = capacity.together(self.instance, self.instance.sessions)
        self.shared = self._shared()
        self._placings()
        self._minutes()
        self._rooms()
        self._people()
        self.solved = self.programme.solve()
        self._fixed = sum(map(alike.worth_of, self.kept.placings))

    @property
    def points(self) -> float:
        """What no lists are worth more than, in the unit's points; infinite where that was not found."""
        return self.programme.at_most + self._fixed

    def tighten(self, seconds: float) -> None:
        """Bring `points` down as far as whole cases, rather than parts of them, and the seconds allow."""
        if self.solved:
            self.programme.solve_whole(seconds)

    def most_placed(self, least: float) -> float:
        """How many cases, beside those kept, lists worth at least so many points hold at most, in parts of cases."""
        placed = [share.variable for share in self._shares.values()]
        return self.programme.most_of(placed, least - self._fixed)

    def shorts(self, key: Key) -> list[float]:
        """For each place that the case may have, how far lists with it there are below the programme in parts.

        That much at the very least, by the programme's own prices; worked out once for all cases of a sort.
        """
        sort = self.alike.sort(key)
        if sort not in self._shorts:
            self._shorts[sort] = [self._short(sort, key, option) for option in self.alike.possible(key)]
        return self._shorts[sort]

    def _short(self, sort: Sort, key: Key, option: Assignment) -> float:
        share = self._shares[(sort, self._place(key, option))]
        return self.programme.loses(share.variable) + max(0.0, share.points - self.alike.worth_of(option.placing(key)))

    def _place(self, key: Key, option: Assignment) -> _Place:
        placing = option.placing(key)
        minutes, whole = self.week.time(placing).mean, is_whole(self.instance, key, option.trainee)
        shared = (option.supervisor, option.session) in self.shared
        supervisor = (option.supervisor, self.week.mode_served(placing) != FROM_OUTSIDE) if shared else None
        return option.session, self.sorts[option.trainee], minutes, whole, supervisor

    def _shared(self) -> set[tuple[str, str]]:
        """Supervisors with their sessions, where they are on two at one moment."""
        shared = set()
        for group, name in product(self.together, self.instance.supervisors):
            mine = [session for session in group if name in self.instance.sessions[session].supervisors]
            shared |= {(name, session) for session in mine if len(mine) > 1}
        return shared

    def _sorts(self) -> dict[str | None, _Trainees]:
        """For each trainee what tells them from others; a published list has its people each for themselves."""
        names = {placing.trainee for placing in self.instance.published.placings}
        sorts: dict[str | None, _Trainees] = {None: None}
        for name, learner in self.instance.trainees.items():
            own = learner.stage, learner.steps_cleared, learner.leave, learner.needs, learner.shown_tier
            sorts[name] = *own, self.instance.wanted[name], name if name in names else ""
        return sorts

    def _placings(self) -> None:
        for kind, keys in self.alike.by_sort(self.alike.waiting).items():
            key, count = keys[0], len(keys)
            best: dict[_Place, float] = {}
            for option in self.alike.possible(key):
                place, points = self._place(key, option), self.alike.worth_of(option.placing(key))
                best[place] = max(best.get(place, -math.inf), points)
            all_of_kind = []
            for place, points in best.items():
                session, sort, minutes, whole, supervisor = place
                variable = self.programme.variable(points, whole=True)
                all_of_kind.append((1.0, variable))
                share = _Share(key, sort, minutes, supervisor, points, count, variable)
                self._shares[(kind, place)] = share
                self.here[session].append(share)
                self.had[sort].append(variable)
                if whole:
                    self.whole[sort].append(variable)
            self.programme.row(all_of_kind, count)

    def _minutes(self) -> None:
        """A mixture of the lists that the session holds, with what devices add within what they leave to spare."""
        use = capacity.times_of(self.instance)
        for name, shares in self.here.items():
            session, kept = self.instance.sessions[name], self.week.list_of(name)
            added = {self._added(share.key) for share in shares} | {self._added(p.case) for p in kept}
            rows = capacity.fullest(use, session.minutes, frozenset(map(capacity.cents, added)))
            mixed = [self.programme.variable() for _ in rows]
            self.programme.row([(1, each) for each in mixed], 1)
            here = Counter(self.week.time(placing).mean for placing in kept)
            for n, mean in enumerate(time.mean for time in use.times):
                room = [(-row[n], share) for row, share in zip(rows, mixed, strict=True)]
                self.programme.row([(1, s.variable) for s in shares if s.minutes == mean] + room, -here[mean])
            if any(added):
                spare = [(-row[-1] / capacity.CENTS, share) for row, share in zip(rows, mixed, strict=True)]
                taken = sum(self._added(placing.case) for placing in kept)
                self.programme.row([(self._added(s.key), s.variable) for s in shares] + spare, -taken)
            for most, counts in limits_of(session):
                taken_up = sum(counts(self.instance.cases[p.case]) for p in kept)
                counted = [(1, s.variable) for s in shares if counts(self.instance.cases[s.key])]
                self.programme.row(counted, most - taken_up)
            for item in (None, *session.kit):
                self._uses(session, item, list(zip(rows, mixed, strict=True)))

    def _uses(self, session: Session, item: str | None, lists: list[tuple[tuple[int, ...], Any]]) -> None:
        """Cases that need an item and add minutes: no more on a list than its sets and spare minutes allow."""
        shares, kept = self.here[session.id], self.week.list_of(session.id)
        cases = self.instance.cases
        sets = capacity.uses(self.instance, session, item) if item else len(cases)
        for least in sorted({self._added(share.key) for share in shares}):
            if not least and not item:
                continue

            def counts(key: Key, least: float = least) -> bool:
                return self._added(key) >= least and (item is None or item in cases[key].kit)

            users = [(1, share.variable) for share in shares if counts(share.key)]
            room = [(-min(sets, row[-1] / capacity.CENTS // least if least else sets), mixed) for row, mixed in lists]
            self.programme.row([*users, *room], -sum(counts(placing.case) for placing in kept))

    def _rooms(self) -> None:
        """No more rooms at one moment than there are trainees of a sort for them."""
        members = Counter(sort for name, sort in self.sorts.items() if name is not None)
        for group in self.together:
            for sort, number in members.items():
                uses = []
                for name in group if number < len(group) else ():
                    if mine := [s for s in self.here[name] if s.sort == sort]:
                        uses.append((1, self._there(name, mine)))
                self.programme.row(uses, number)
            for supervisor in self.instance.supervisors.values():
                mine_of = {
                    name: [s for s in self.here[name] if s.supervisor and s.supervisor[0] == supervisor.id]
                    for name in group
                    if (supervisor.id, name) in self.shared
                }
                there = {name: self._there(name, shares) for name, shares in mine_of.items()}
                self.programme.row([(1, each) for each in there.values()], supervisor.on_site_rooms)
                for name, shares in mine_of.items():
                    tied = self._there(name, [s for s in shares if s.supervisor and s.supervisor[1]])
                    for other in (other for other in there if other != name):
                        self.programme.row([(1, tied), (1, there[other])], 1)

    def _there(self, session: str, shares: list[_Share]) -> int:
        """A variable that is 1 where the session is full of these, and in proportion where it is not."""
        there = self.programme.variable(upper=1, whole=True)
        use = capacity.times_of(self.instance)
        columns = {time.mean: n for n, time in enumerate(use.times)}
        rows = capacity.table(use, self.instance.sessions[session].minutes)
        timed = {columns[s.minutes] for s in shares}
        most = max((sum(row[n] for n in timed) for row in rows), default=0) if shares else 0
        self.programme.row([(1, s.variable) for s in shares] + [(-most, there)], 0)
        for s in (s for s in shares if s.count < most):
            self.programme.row([(1, s.variable), (-s.count, there)], 0)
        return there

    def _added(self, key: Key) -> float:
        return capacity.cents(self.instance.cases[key].added_minutes) / capacity.CENTS

    def _people(self) -> None:
        """Even shares within each sort of trainees, which is the best they can have; targets and hard eyes likewise."""
        wishes, members = self.instance.wishes, Counter(sort for name, sort in self.sorts.items() if name is not None)
        kept = self.kept.placings
        cases = Counter(self.sorts[p.trainee] for p in kept)
        done = Counter(self.sorts[p.trainee] for p in kept if is_whole(self.instance, p.case, p.trainee))
        count, every = len(self.instance.trainees), sum(cases[sort] for sort in members)
        targets = {self.sorts[name]: wanted or 0 for name, wanted in self.instance.wanted.items()}
        still = sum(needed(wishes).values())
        for sort, number in members.items():
            # Cases of this sort beyond its part of the mean of all trainees.
            more, part = self.programme.variable(-wishes.fair_share), number / count
            terms = [(float(other == sort) - part, one) for other in members for one in self.had[other]]
            self.programme.row([*terms, (-1, more)], part * every - cases[sort])
            towards = self.programme.variable(still, upper=targets[sort] * number)
            self.programme.row([(1, towards), *((-1, one) for one in self.whole[sort])], done[sort])
        for name, shares in self.here.items():
            placed = sum(self.instance.cases[p.case].tier >= HARD for p in self.week.list_of(name))
            hard = [(1.0, s.variable) for s in shares if self.instance.cases[s.key].tier >= HARD]
            together = self.programme.variable(-wishes.hard_together)
            self.programme.row([*hard, (-1, together)], 1 - placed)
