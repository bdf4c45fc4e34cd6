"""What a change costs at the very least, by the minutes alone: who cannot stay, how many the day does not hold."""

from __future__ import annotations

from collections.abc import Mapping

from planner.lists.instance import Key, Lists
from planner.lists.measure import NOTHING, Measure
from planner.lists.minutes import Time, chance_of_overrun
from planner.lists.roster import Session
from planner.lists.today import Today
from planner.lists.trials import Option
from planner.lists.week import Week

_Takes = tuple[Time, float]  # the operation, and what devices add


class RoomLeft:
    """An undecided case counts with the shortest operation that it may have in a session: nothing is overstated."""

    def __init__(self, today: Today) -> None:
        self.today, self.instance = today, today.instance
        self._empty = Week(self.instance, Lists(()))
        self._fixed = {
            s.id: [self._takes(p.case, Option.of(p)) for p in today.fixed
                   if p.session == s.id and not (s.id in self.instance.taken and p.case in self.instance.begun)]
            for s in today.sessions
        }  # fmt: skip
        self._shortest: dict[tuple[Key, str], tuple[Measure, _Takes] | None] = {}
        self._away: dict[tuple[Key, str], Measure] = {}
        self._known: dict[object, tuple[Measure, int]] = {}
        self._holds: dict[object, int] = {}

    def at_least(self, decided: Mapping[Key, Option | None]) -> Measure:
        """What the undecided cases will add to what the decided ones cost."""
        found, leaving = NOTHING, 0
        undecided = [key for key in self.today.free if key not in decided]
        of_session: dict[str, list[Key]] = {}
        for key in undecided:
            was = self.today.begins[key]
            if was is None:
                found = found.plus(self._cheapest(key, None))
            else:
                of_session.setdefault(was.session, []).append(key)
        into: dict[str, list[tuple[Key, Option]]] = {}
        for key, option in decided.items():
            if option is not None:
                into.setdefault(option.session, []).append((key, option))
        for session in self.today.sessions:
            stay = tuple(of_session.get(session.id, ()))
            if stay:
                more, gone = self._of(session, stay, tuple(into.get(session.id, ())))
                found, leaving = found.plus(more), leaving + gone
        room = sum(self._room(session, tuple(into.get(session.id, ()))) for session in self.today.sessions)
        beyond = len(undecided) - room - found.off
        if beyond > 0:
            people = max(0, found.people - 2 * beyond)
            found = found._replace(off=found.off + beyond, session=max(0, found.session - beyond), people=people)
        return found

    def _of(self, session: Session, stay: tuple[Key, ...], into: tuple[tuple[Key, Option], ...]) -> tuple[Measure, int]:
        """The least that the cases of a session cost, and how many of them leave it."""
        if (session.id, stay, into) not in self._known:
            left, total, leaving = [], NOTHING, 0
            for key in stay:
                here, away = self._stays(key, session.id), self._cheapest(key, session.id)
                if here is None:
                    total, leaving = total.plus(away), leaving + 1
                else:
                    total = total.plus(here[0])
                    left.append((away.less(here[0]), here[1]))
            already = [self._takes(key, option) for key, option in into]
            by_time = sorted((takes for _, takes in left), key=lambda takes: (takes[0].mean + takes[1], takes[0].sd))
            while by_time and not self._fits(session, [*already, *by_time]):
                by_time.pop()
            more = len(left) - len(by_time)
            for extra in sorted(extra for extra, _ in left)[:more]:
                total = total.plus(extra)
            self._known[session.id, stay, into] = total, leaving + more
        return self._known[session.id, stay, into]

    def _room(self, session: Session, into: tuple[tuple[Key, Option], ...]) -> int:
        """How many undecided cases the session could hold besides, were they the shortest that there are."""
        if (session.id, into) not in self._holds:
            gone = {key for key, _ in into}
            every = [here[1] for key in self.today.free if key not in gone and (here := self._stays(key, session.id))]
            every.sort(key=lambda takes: (takes[0].mean + takes[1], takes[0].sd))
            already = [self._takes(key, option) for key, option in into]
            count = 0
            while count < len(every) and self._fits(session, [*already, *every[: count + 1]]):
                count += 1
            self._holds[session.id, into] = count
        return self._holds[session.id, into]

    def _fits(self, session: Session, cases: list[_Takes]) -> bool:
        every = [*self._fixed[session.id], *cases]
        minutes = self.instance.taken.get(session.id, 0.0) + len(every) * self.instance.turnover
        minutes += sum(added for _, added in every)
        chance = chance_of_overrun([time for time, _ in every], minutes, session.minutes)
        return chance <= self.instance.overrun_chance

    def _takes(self, key: Key, option: Option) -> _Takes:
        return self._empty.time(option.placing(key)), self.instance.cases[key].added_minutes

    def _stays(self, key: Key, session: str) -> tuple[Measure, _Takes] | None:
        """What it costs at least that the case is in that session, and the least time; None where it may not be."""
        if (key, session) not in self._shortest:
            here = {option: cost for option, cost in self.today.may(key).items() if option.session == session}
            times = [self._takes(key, option)[0] for option in here]
            self._shortest[key, session] = (
                (min(here.values()), (Time(min(t.mean for t in times), min(t.sd for t in times)),
                                      self.instance.cases[key].added_minutes))
                if here else None
            )  # fmt: skip
        return self._shortest[key, session]

    def _cheapest(self, key: Key, not_in: str | None) -> Measure:
        """The least that it costs to be anywhere else, off included."""
        if (key, not_in or "") not in self._away:
            elsewhere = [cost for option, cost in self.today.may(key).items() if option.session != not_in]
            self._away[key, not_in or ""] = min([*elsewhere, self.today.cost(key, None)])
        return self._away[key, not_in or ""]
