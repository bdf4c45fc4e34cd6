"""What no lists can be worth more than, however large the pool: a linear programme that drops most rules.

Kinds of cases go into sessions, in parts if need be, each with a sort of trainee and the supervisor worth most; a
session holds a mixture of the fullest lists within the chance limit. Trainees whom no rule and no wish tells apart are
one sort and share evenly. Rules about who is free, kit and order are dropped, and so are hard eyes on one list: nothing
that the checker lets stand is worth more.
"""

from __future__ import annotations

import datetime
import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ortools.linear_solver import pywraplp

from planner.lists import room
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.likeness import Alike
from planner.lists.roster import Session
from planner.lists.trials import Option
from planner.lists.week import Week
from planner.lists.worth import is_whole, of_placing

_Kind = tuple[int, datetime.date | None, Key | None]
_Sort = object  # of trainees; None for no trainee


# Session, trainees, minutes, whether the whole operation; the supervisor and whether tied to the room, where another may
# want them at that moment.
_Place = tuple[str, _Sort, float, bool, tuple[str, bool] | None]


@dataclass
class _Share:
    """How many of a kind (at most `count`) stand in a session with a sort of trainee; `key` is the first of the kind.

    `points` are of the pair worth most; `short` is what the programme loses by each one, once it was asked.
    """

    key: Key
    sort: _Sort
    minutes: float
    supervisor: tuple[str, bool] | None
    points: float
    count: int
    variable: Any
    short: float | None = None


class Bound:
    """`points`: what no lists are worth more than, in the unit's points; infinite where it was not solved."""

    def __init__(
        self,
        instance: Instance,
        possible: Mapping[Key, list[Option]],
        kept: Lists | None = None,
        alike: Alike | None = None,
    ) -> None:
        self.instance, self.kept, self.alike = instance, kept or Lists(()), alike or Alike(instance)
        self.week = Week(instance, self.kept)
        self.solver = pywraplp.Solver.CreateSolver("GLOP")
        self.objective = self.solver.Objective()
        self.objective.SetMaximization()
        self.sorts = self._sorts()
        self.had: dict[_Sort, list[Any]] = defaultdict(list)
        self.whole: dict[_Sort, list[Any]] = defaultdict(list)
        self.here: dict[str, list[_Share]] = defaultdict(list)  # by session
        self._shares: dict[tuple[_Kind, _Place], _Share] = {}
        self.together = room.together(instance, instance.sessions)
        self.shared = self._shared()
        self._placings(possible)
        self._minutes()
        self._rooms()
        self._people()
        self.solved = self.solver.Solve() == pywraplp.Solver.OPTIMAL
        fixed = sum(sum(of_placing(instance, placing).values()) for placing in self.kept.placings)
        self.points = float(self.objective.Value()) + fixed if self.solved else math.inf

    def short(self, key: Key, option: Option) -> float:
        """How far below `points` lists with this placing are at the very least, by the programme's own prices."""
        if not self.solved:
            return 0.0
        share = self._shares[(self._kind(key), self._place(key, option))]
        if share.short is None:
            share.short = max(0.0, -share.variable.reduced_cost())
        return share.short + max(0.0, share.points - self._points(key, option))

    def _kind(self, key: Key) -> _Kind:
        alone = key if key in self.instance.as_published else None
        return self.alike.kind(key), self.instance.cases[key].last_day, alone

    def _place(self, key: Key, option: Option) -> _Place:
        placing = Placing(option.session, 1, key, option.trainee, option.supervisor)
        minutes, whole = self.week.time(placing).mean, is_whole(self.instance, key, option.trainee)
        shared = (option.supervisor, option.session) in self.shared
        supervisor = (option.supervisor, self.week.mode_served(placing) != "on-site") if shared else None
        return option.session, self.sorts[option.trainee], minutes, whole, supervisor

    def _points(self, key: Key, option: Option) -> float:
        return sum(
            of_placing(
                self.instance, Placing(option.session, 1, key, option.trainee, option.supervisor)
            ).values()
        )  # fmt: skip

    def _shared(self) -> set[tuple[str, str]]:
        """Supervisors with their sessions, where they are on two at one moment."""
        found = set()
        for group in self.together:
            for name in self.instance.supervisors:
                mine = [session for session in group if name in self.instance.sessions[session].supervisors]
                found |= {(name, session) for session in mine if len(mine) > 1}
        return found

    def _sorts(self) -> dict[str | None, _Sort]:
        """For each trainee what tells them from others; a published list has its people each for themselves."""
        names = {placing.trainee for placing in self.instance.published.placings}
        found: dict[str | None, _Sort] = {None: None}
        for name, learner in self.instance.trainees.items():
            own = name if name in names else ""
            found[name] = (
                learner.stage, learner.steps_cleared, learner.leave, learner.target, learner.needs, learner.shown_tier,
                own,
            )  # fmt: skip
        return found

    def _placings(self, possible: Mapping[Key, list[Option]]) -> None:
        counts = Counter(map(self._kind, possible))
        first: dict[_Kind, Key] = {}
        for key in possible:
            first.setdefault(self._kind(key), key)
        for kind, key in first.items():
            best: dict[_Place, float] = {}
            for option in possible[key]:
                place = self._place(key, option)
                best[place] = max(best.get(place, -math.inf), self._points(key, option))
            row = self.solver.Constraint(0, counts[kind])
            for place, points in best.items():
                session, sort, minutes, whole, supervisor = place
                variable = self.solver.NumVar(0, self.solver.infinity(), "")
                self.objective.SetCoefficient(variable, points)
                row.SetCoefficient(variable, 1)
                share = _Share(key, sort, minutes, supervisor, points, counts[kind], variable)
                self._shares[(kind, place)] = share
                self.here[session].append(share)
                self.had[sort].append(variable)
                if whole:
                    self.whole[sort].append(variable)

    def _minutes(self) -> None:
        """A mixture of the lists that the session holds, with what devices add within what they leave to spare."""
        means = [time.mean for time in room.times_in_use(self.instance)]
        for name, shares in self.here.items():
            session, kept = self.instance.sessions[name], self.week.list_of(name)
            rows = room.table(self.instance, session.minutes)
            adds = any(self._added(share.key) for share in shares) or any(self._added(p.case) for p in kept)
            rows = rows if adds else _fullest(rows)
            mixed = [self.solver.NumVar(0, 1, "") for _ in rows]
            self._row([(1, each) for each in mixed], 1)
            here = Counter(self.week.time(placing).mean for placing in kept)
            for n, mean in enumerate(means):
                held = [(-row[n], share) for row, share in zip(rows, mixed, strict=True)]
                self._row([(1, s.variable) for s in shares if s.minutes == mean] + held, -here[mean])
            if adds:
                spare = [(-row[-1] / room.CENTS, share) for row, share in zip(rows, mixed, strict=True)]
                taken = sum(self._added(placing.case) for placing in kept)
                self._row([(self._added(s.key), s.variable) for s in shares] + spare, -taken)
            for item in (None, *session.kit):
                self._uses(session, item, list(zip(rows, mixed, strict=True)))

    def _uses(self, session: Session, item: str | None, lists: list[tuple[tuple[int, ...], Any]]) -> None:
        """Cases that need an item and add minutes: no more on a list than its sets and spare minutes allow."""
        shares, kept = self.here[session.id], self.week.list_of(session.id)
        cases = self.instance.cases
        sets = (
            room.uses(self.instance, session, item, room.table(self.instance, session.minutes)) if item else len(cases)
        )
        for least in sorted({self._added(share.key) for share in shares}):
            if not least and not item:
                continue

            def counts(key: Key, least: float = least) -> bool:
                return self._added(key) >= least and (item is None or item in cases[key].kit)

            users = [(1, share.variable) for share in shares if counts(share.key)]
            held = [(-min(sets, row[-1] / room.CENTS // least if least else sets), mixed) for row, mixed in lists]
            self._row([*users, *held], -sum(counts(placing.case) for placing in kept))

    def _rooms(self) -> None:
        """No more rooms at one moment than there are trainees of a sort for them."""
        members = Counter(sort for name, sort in self.sorts.items() if name is not None)
        for group in self.together:
            for sort, number in members.items():
                uses = []
                for name in group if number < len(group) else ():
                    if mine := [s for s in self.here[name] if s.sort == sort]:
                        uses.append((1, self._there(name, mine)))
                self._row(uses, number)
            for supervisor in self.instance.supervisors.values():
                mine_of = {
                    name: [s for s in self.here[name] if s.supervisor and s.supervisor[0] == supervisor.id]
                    for name in group
                    if (supervisor.id, name) in self.shared
                }
                there = {name: self._there(name, shares) for name, shares in mine_of.items()}
                self._row([(1, each) for each in there.values()], supervisor.on_site_rooms)
                for name, shares in mine_of.items():
                    tied = self._there(name, [s for s in shares if s.supervisor and s.supervisor[1]])
                    for other in there:
                        if other != name:
                            self._row([(1, tied), (1, there[other])], 1)

    def _there(self, session: str, shares: list[_Share]) -> Any:
        """A variable that is 1 where the session is full of these, and in proportion where it is not."""
        there = self.solver.NumVar(0, 1, "")
        columns = {time.mean: n for n, time in enumerate(room.times_in_use(self.instance))}
        rows = room.table(self.instance, self.instance.sessions[session].minutes)
        timed = {columns[s.minutes] for s in shares}
        most = max((sum(row[n] for n in timed) for row in rows), default=0) if shares else 0
        self._row([(1, s.variable) for s in shares] + [(-most, there)], 0)
        for s in (s for s in shares if s.count < most):
            self._row([(1, s.variable), (-s.count, there)], 0)
        return there

    def _row(self, terms: Sequence[tuple[float, Any]], most: float) -> None:
        row = self.solver.Constraint(-self.solver.infinity(), most)
        for coefficient, variable in terms:
            row.SetCoefficient(variable, coefficient)

    def _added(self, key: Key) -> float:
        return math.floor(self.instance.cases[key].added_minutes * room.CENTS) / room.CENTS

    def _people(self) -> None:
        """Even shares within each sort of trainees, which is the best they can have; targets likewise."""
        wishes, members = self.instance.wishes, Counter(sort for name, sort in self.sorts.items() if name is not None)
        kept = self.kept.placings
        held: Counter[_Sort] = Counter(self.sorts[p.trainee] for p in kept)
        done: Counter[_Sort] = Counter(
            self.sorts[p.trainee] for p in kept if is_whole(self.instance, p.case, p.trainee)
        )
        every = sum(len(mine) and sum(mine) for sort, mine in self.had.items() if sort is not None)
        every = every + sum(held[sort] for sort in members)
        count = len(self.instance.trainees)
        targets = {self.sorts[name]: learner.target or 0 for name, learner in self.instance.trainees.items()}
        for sort, number in members.items():
            mine = self.had[sort]
            more = self.solver.NumVar(0, self.solver.infinity(), "")
            self.objective.SetCoefficient(more, -wishes.fair_share)
            self.solver.Add(more >= (sum(mine) if mine else 0) + held[sort] - every * (number / count))
            if targets[sort]:
                towards = self.solver.NumVar(0, targets[sort] * number, "")
                self.objective.SetCoefficient(towards, wishes.toward_target)
                self.solver.Add(towards <= (sum(self.whole[sort]) if self.whole[sort] else 0) + done[sort])


def _fullest(rows: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Those lists to which no operation can be added, whichever the time."""
    every = {row[:-1] for row in rows}
    return [
        row for row in rows
        if not any((*row[:n], row[n] + 1, *row[n + 1 : -1]) in every for n in range(len(row) - 1))
    ]  # fmt: skip
