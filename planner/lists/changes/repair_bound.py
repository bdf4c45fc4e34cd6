"""What a change costs at the very least, by the minutes alone: who cannot stay, how many the day does not hold."""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import combinations

from planner.lists.changes.day import RepairDay
from planner.lists.changes.repair_cost import NOTHING, RepairCost
from planner.lists.matching.insertion import Assignment
from planner.lists.rules.people import FROM_OUTSIDE
from planner.lists.week.instance import Key, Lists
from planner.lists.week.overrun import Time, chance_of_overrun
from planner.lists.week.week import Week

NEVER = 10**6
_Takes = tuple[Time, float]  # the operation, and what devices add
Decisions = Mapping[Key, Assignment | str | None]  # with whom and where, or in which session, or off


class RepairBound:
    """A case not fully decided counts with the shortest operation that it may have there: nothing is overstated."""

    def __init__(self, today: RepairDay) -> None:
        self.today, self.instance = today, today.instance
        self._empty = Week(self.instance, Lists(()))
        self._fixed = {
            s.id: tuple(self._takes(p.case, Assignment.of(p)) for p in today.fixed
                        if p.session == s.id and not (s.id in self.instance.taken and p.case in self.instance.begun))
            for s in today.sessions
        }  # fmt: skip
        # Asked again and again by a search, and the same for as long as the day is.
        self.worth_trying, self._ways = cache(self._worth_trying), cache(self._find_ways)
        self._least, self._people = cache(self._find_least), cache(self._find_people)
        self._room, self._cheapest = cache(self._find_room), cache(self._find_cheapest)

    def at_least(self, decided: Decisions) -> RepairCost | None:
        """What is still open will add to what is decided; None where what is decided never fits."""
        cost = NOTHING
        free: dict[str, list[Key]] = {}
        bound: dict[str, list[Key]] = {}
        into: dict[str, list[_Takes]] = {}
        for key in self.today.free:
            where = decided.get(key, self.today.begins[key])
            if key not in decided and where is None:
                cost = cost.plus(self._cheapest(key, None))
            elif key not in decided and isinstance(where, Assignment):
                free.setdefault(where.session, []).append(key)
            elif isinstance(where, str):
                bound.setdefault(where, []).append(key)
            elif isinstance(where, Assignment):
                into.setdefault(where.session, []).append(self._takes(key, where))
        room, undecided = 0, sum(key not in decided for key in self.today.free)
        for session in self.today.sessions:
            stay, assigned = tuple(free.get(session.id, ())), tuple(bound.get(session.id, ()))
            already = tuple(sorted(into.get(session.id, ())))
            more = self._least(session.id, stay, assigned, already)
            if more is None:
                return None
            cost = cost.plus(more)
            room += self._room(session.id, assigned, already)
        beyond = undecided - room - cost.off
        if beyond > 0:
            people = max(0, cost.people - 2 * beyond)
            cost = cost._replace(off=cost.off + beyond, session=max(0, cost.session - beyond), people=people)
        return cost

    def _worth_trying(self, key: Key, session: str) -> list[Assignment]:
        """With whom the case may be in a session, without those whom a consultant alone could stand for.

        That costs no more people, takes no longer, needs no trainee, and ties no supervisor who was not tied. Where a
        set of kit must be ready again in time, a longer operation may be what is wanted, and nobody is left out.
        """
        here = [option for option in self.today.may(key) if option.session == session]
        own = self.today.was.get(key)
        alone = {option.supervisor for option in here if option.trainee is None}
        return [
            option for option in here
            if option.trainee is None or self._waits_for_kit(session) or option.supervisor not in alone
            or (own is not None and option.trainee == own.trainee)
            or self._empty.mode_served(option.placing(key)) == FROM_OUTSIDE
            or not _within(self._takes(key, replace(option, trainee=None)), self._takes(key, option))
        ]  # fmt: skip

    def quickest(self, key: Key, session: str) -> Assignment:
        """With whom the operation is the shortest there, and of these what costs least."""
        here = (option for option in self.today.may(key) if option.session == session)
        return min(here, key=lambda option: (_length(self._takes(key, option)), self.today.cost(key, option)))

    def _waits_for_kit(self, session: str) -> bool:
        cases = [self.instance.cases[key] for key in (*self.today.free, *self.today.fixed_cases)]
        kit = self.instance.sessions[session].kit.items()
        return any(counted.ready_again_after and sum(item in case.kit for case in cases) > 1 for item, counted in kit)

    def must_leave(self, session: str, decided: Decisions) -> bool:
        """Whether one of the cases that may still leave a session must, whoever operates in it."""
        here = [key for key in self.today.free if self._in(session, key, decided)]
        takes = []
        for key in here:
            where = decided.get(key)
            takes.append(self._takes(key, where) if isinstance(where, Assignment) else self._shortest(key, session))
        return not self._fits(session, tuple(takes))

    def _in(self, session: str, key: Key, decided: Decisions) -> bool:
        where = decided.get(key, self.today.begins[key])
        return (where.session if isinstance(where, Assignment) else where) == session and bool(self._ways(key, session))

    def _find_least(
        self, session: str, stay: tuple[Key, ...], assigned: tuple[Key, ...], already: tuple[_Takes, ...]
    ) -> RepairCost | None:
        """The least that a session's cases cost: the fewest leave that must, of the rest some have other people."""
        left, total = [key for key in stay if self._ways(key, session)], NOTHING
        for key in stay:
            if key not in left:
                total = total.plus(self._cheapest(key, session)._replace(people=0))
        if not left and not assigned:
            return total
        bound = (*already, *(self._shortest(key, session) for key in assigned))
        fastest = sorted((self._shortest(key, session) for key in left), key=_length)
        while fastest and not self._fits(session, (*bound, *fastest)):
            fastest.pop()
        if not fastest and assigned and not self._fits(session, bound):
            return None
        leaving = len(left) - len(fastest)
        for extra in sorted(self._cheapest(key, session)._replace(people=0) for key in left)[:leaving]:
            total = total.plus(extra)
        rests = combinations(left, len(left) - leaving)
        people = min(self._people(session, (*assigned, *rest), already) for rest in rests)
        return total._replace(people=people) if people < NEVER else None

    def _find_people(self, session: str, keys: tuple[Key, ...], already: tuple[_Takes, ...]) -> int:
        """The fewest people changed with whom these cases fit; NEVER where they do not, since then more must leave."""
        # Nothing fits by itself where the fixed cases alone do not, and nobody need be there then.
        if not keys:
            return 0
        ways = [self._ways(key, session) for key in keys]
        waiting = [(sum(way[0][0] for way in ways), (0,) * len(keys))]
        while waiting:
            cost, chosen = heapq.heappop(waiting)
            if self._fits(session, (*already, *(way[n][1] for way, n in zip(ways, chosen, strict=True)))):
                return cost
            # Each choice is reached once: what was raised last is raised further, or something behind it.
            last = max((at for at, n in enumerate(chosen) if n), default=0)
            for at in range(last, len(keys)):
                if chosen[at] + 1 < len(ways[at]):
                    more = ways[at][chosen[at] + 1][0] - ways[at][chosen[at]][0]
                    heapq.heappush(waiting, (cost + more, (*chosen[:at], chosen[at] + 1, *chosen[at + 1 :])))
        return NEVER

    def _find_room(self, session: str, assigned: tuple[Key, ...], already: tuple[_Takes, ...]) -> int:
        """How many more cases the session could hold, were they the shortest that there are."""
        others = (key for key in self.today.free if key not in assigned and self._ways(key, session))
        every = sorted((self._shortest(key, session) for key in others), key=_length)
        bound = (*already, *(self._shortest(key, session) for key in assigned))
        number = 0
        while number < len(every) and self._fits(session, (*bound, *every[: number + 1])):
            number += 1
        return number

    def _fits(self, session: str, cases: tuple[_Takes, ...]) -> bool:
        every = [*self._fixed[session], *cases]
        minutes = self.instance.taken.get(session, 0.0) + len(every) * self.instance.turnover
        minutes += sum(added for _, added in every)
        chance = chance_of_overrun([time for time, _ in every], minutes, self.instance.sessions[session].minutes)
        return chance <= self.instance.overrun_chance

    def _takes(self, key: Key, option: Assignment) -> _Takes:
        return self._empty.time(option.placing(key)), self.instance.cases[key].added_minutes

    def _find_ways(self, key: Key, session: str) -> list[tuple[int, _Takes]]:
        """How many people change at least for each time the case may take in that session, the quicker the more."""
        least: dict[_Takes, int] = {}
        for option, cost in self.today.may(key).items():
            if option.session == session:
                takes = self._takes(key, option)
                least[takes] = min(cost.people, least.get(takes, cost.people))
        return sorted(
            (people, takes) for takes, people in least.items()
            if not any(other != takes and _within(other, takes) and fewer <= people for other, fewer in least.items())
        )  # fmt: skip

    def _shortest(self, key: Key, session: str) -> _Takes:
        """No operation that the case may have there is shorter in any respect."""
        times = [takes[0] for _, takes in self._ways(key, session)]
        shortest = Time(min(time.mean for time in times), min(time.sd for time in times))
        return shortest, self.instance.cases[key].added_minutes

    def _find_cheapest(self, key: Key, not_in: str | None) -> RepairCost:
        """The least that it costs to be anywhere else, off included."""
        elsewhere = [cost for option, cost in self.today.may(key).items() if option.session != not_in]
        return min([*elsewhere, self.today.cost(key, None)])


def _length(takes: _Takes) -> tuple[float, float]:
    return takes[0].mean + takes[1], takes[0].sd


def _within(one: _Takes, other: _Takes) -> bool:
    """Whether an operation is no longer than another in every respect."""
    return one[0].mean <= other[0].mean and one[0].sd <= other[0].sd and one[1] <= other[1]
